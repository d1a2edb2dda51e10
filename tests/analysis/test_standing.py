"""What may be said of two builds, of a bench, and what is missing: by bounds worked by hand."""

from types import SimpleNamespace

import pytest

from analysis.standing import missing_links, score_benches, stand


def fit(difference=0.0, u=0.1, groups=(("a", "b"),), benches=()):
    """Return a fit with two builds so far apart, this surely; only what standing reads of it."""
    names, effects, doubts = zip(*benches, strict=True) if benches else ((), (), ())
    return SimpleNamespace(
        effects={"a": difference, "b": 0.0},
        u_difference=lambda _a, _b: u,
        groups=groups,
        bench_ids=names,
        bench_effect=effects,
        bench_u=doubts,
    )


class TestStand:
    def test_no_link_no_word_however_sure_the_fit(self):
        told = stand(fit(1.0, 0.01, groups=(("a",), ("b",))), "a", "b")
        assert (told.comparable, told.statement) == ("not_yet", "not_yet")
        assert told.probability_a_ahead is None

    def test_too_doubtful_to_compare(self):
        told = stand(fit(1.0, 0.2501), "a", "b")
        assert (told.comparable, told.statement) == ("not_yet", "not_yet")

    @pytest.mark.parametrize(
        ("u", "comparable"), [(0.15, "yes"), (0.1501, "rough"), (0.25, "rough")]
    )
    def test_how_closely(self, u, comparable):
        assert stand(fit(0.1, u), "a", "b").comparable == comparable

    # Quantiles of the normal distribution, NIST/SEMATECH e-Handbook 1.3.6.7.1: 0.80 at 0.8416,
    # 0.95 at 1.6449.
    @pytest.mark.parametrize(
        ("quantile", "statement"),
        [(1.66, "a_ahead"), (1.63, "a_probably_ahead"), (0.85, "a_probably_ahead"),
         (0.83, "too_close"), (-0.83, "too_close"), (-0.85, "b_probably_ahead"),
         (-1.63, "b_probably_ahead"), (-1.66, "b_ahead")],
    )  # fmt: skip
    def test_what_is_said(self, quantile, statement):
        assert stand(fit(quantile * 0.1, 0.1), "a", "b").statement == statement

    def test_probability(self):
        assert stand(fit(0.08416, 0.1), "a", "b").probability_a_ahead == pytest.approx(
            0.8, abs=1e-4
        )


class TestBenches:
    @pytest.mark.parametrize(
        ("effect", "verdict"),
        [(0.2, "fine"), (-0.2, "fine"), (0.201, "look"), (-0.299, "look"), (0.301, "act")],
    )
    def test_by_the_bounds_of_iso_13528(self, effect, verdict):
        (score,) = score_benches(fit(benches=[("bench", effect, 0.05)]))
        assert score.z == pytest.approx(10 * effect)
        assert score.verdict == verdict


class TestMissingLinks:
    def test_nothing_is_missing_where_all_are_joined(self):
        assert missing_links(fit(), {"a": ["1"], "b": ["2"]}, []) == []

    def test_a_lonely_reference_rotor_needs_no_visit(self):
        apart = fit(groups=(("a", "ref"), ("spare",)))
        assert missing_links(apart, {"a": ["1"], "spare": ["2"]}, ["ref", "spare"]) == []

    def test_the_reference_rotor_goes_where_it_joins_most_first(self):
        apart = fit(groups=(("a", "ref"), ("b",), ("c", "d")))
        first, second = missing_links(apart, {"b": ["2"], "c": ["3", "4"], "d": ["4"]}, ["ref"])
        assert (first.joins, first.bench_id, first.needs) == (("c", "d"), "4", "reference")
        assert (second.joins, second.bench_id) == (("b",), "2")

    def test_without_a_reference_rotor_a_visit_joins(self):
        (link,) = missing_links(fit(groups=(("a",), ("b",))), {"a": ["1"], "b": ["2"]}, [])
        assert (link.joins, link.needs) == (("b",), "visit")

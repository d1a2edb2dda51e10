"""Bench biases and missing links, by hand."""

import math

import pytest

from analysis.comparison.bench_scores import missing_links, score_benches
from tests.support.stated_fits import stated_fit


class TestScores:
    @pytest.mark.parametrize(
        ("effect", "verdict"),
        [(0.2, "fine"), (-0.2, "fine"), (0.201, "look"), (-0.299, "look"), (0.301, "act")],
    )
    def test_by_the_bounds_of_iso_13528(self, effect, verdict):
        (score,) = score_benches(stated_fit(benches=[("bench", effect, 0.05)]))
        assert score.z == pytest.approx(10 * effect)
        assert score.verdict == verdict

    def test_the_benchs_own_doubt_by_hand(self):
        """ζ = 0.15/0.05, E_n = 0.15/(2 · 0.05)."""
        (score,) = score_benches(stated_fit(benches=[("bench", 0.15, 0.05)]))
        assert (score.zeta, score.e_n) == (pytest.approx(3.0), pytest.approx(1.5))
        assert score.against == "season_model"

    def test_without_an_assigned_power_the_reference_is_the_robust_consensus(self):
        """Algorithm A of {0.02, -0.05, 0.11, 0.04, -0.09, 0.41} is 0.0491 (worked example)."""
        effects = (0.02, -0.05, 0.11, 0.04, -0.09, 0.41)
        scores = score_benches(
            stated_fit(benches=[(str(k), effect, 0.05) for k, effect in enumerate(effects)]),
        )
        assert [score.effect for score in scores] == pytest.approx(
            [effect - 0.0491 for effect in effects], abs=1e-4
        )
        assert {score.against for score in scores} == {"consensus"}
        assert scores[-1].verdict == "act"

    def test_two_benches_make_no_consensus(self):
        scores = score_benches(stated_fit(benches=[("a", 0.1, 0.05), ("b", 0.2, 0.05)]))
        assert [score.effect for score in scores] == [0.1, 0.2]


class TestAgainstAssigned:
    """z′ = x/√(0.10² + 0.146²), ζ = x/√(u² + 0.146²), E_n with twice both (ISO 13528)."""

    def scores(self, *effects, reads=1.0):
        fit = stated_fit(
            difference=math.log(0.06 * reads),
            benches=[(str(k), effect, 0.05) for k, effect in enumerate(effects)],
        )
        return score_benches(fit, {"a": 0.06})

    def test_by_hand(self):
        score = self.scores(0.01, -0.01, 0.0, reads=1.25)[0]
        off = math.log(1.25) + 0.01
        assert score.effect == pytest.approx(0.01)
        assigned = score.assigned
        assert assigned.effect == pytest.approx(off)
        assert assigned.z_prime == pytest.approx(off / math.hypot(0.10, 0.146))
        assert assigned.zeta == pytest.approx(off / math.hypot(0.05, 0.146))
        assert assigned.e_n == pytest.approx(off / (2 * math.hypot(0.05, 0.146)))

    def test_benches_that_all_read_far_too_high_are_not_fine(self):
        assert {score.verdict for score in self.scores(0, 0, 0, 0, 0, 0, reads=1.45)} == {"look"}
        assert {score.verdict for score in self.scores(0, 0, 0, 0, 0, 0, reads=1.75)} == {"act"}

    def test_one_that_differs_from_the_others_shows_that(self):
        odd = self.scores(0.0, 0.01, -0.01, 0.0, 0.35)[-1]
        assert (odd.assigned.verdict, odd.verdict) == ("fine", "act")

    def test_a_bench_that_nothing_joins_to_the_rotor_is_compared_with_the_others(self):
        fit = stated_fit(benches=[("1", 0.0, 0.05), ("2", 0.0, 0.05)])
        fit.bench_group = {"1": 0}
        assert [score.assigned is None for score in score_benches(fit, {"a": 1.0})] == [False, True]


class TestMissingLinks:
    def test_no_link_is_missing_if_all_builds_are_joined(self):
        assert missing_links(stated_fit(), {"a": ["1"], "b": ["2"]}, []) == []

    def test_a_lonely_reference_rotor_needs_no_visit(self):
        apart = stated_fit(groups=(("a", "ref"), ("spare",)))
        assert missing_links(apart, {"a": ["1"], "spare": ["2"]}, ["ref", "spare"]) == []

    def test_the_reference_rotor_goes_where_it_joins_most_first(self):
        apart = stated_fit(groups=(("a", "ref"), ("b",), ("c", "d")))
        first, second = missing_links(apart, {"b": ["2"], "c": ["3", "4"], "d": ["4"]}, ["ref"])
        assert (first.joins, first.bench_id, first.needs) == (("c", "d"), "4", "reference")
        assert (second.joins, second.bench_id) == (("b",), "2")

    def test_one_session_joins_all_builds_of_a_bench(self):
        apart = stated_fit(groups=(("a", "ref"), ("b",), ("c",)))
        (link,) = missing_links(apart, {"b": ["2"], "c": ["2"]}, ["ref"])
        assert link.joins == ("b", "c")

    def test_builds_that_were_left_behind_need_no_link(self):
        apart = stated_fit(groups=(("a", "ref"), ("b",), ("c",)))
        (link,) = missing_links(apart, {"b": ["2"], "c": ["3"]}, ["ref"], current=["a", "c"])
        assert link.joins == ("c",)

    def test_without_a_reference_rotor_a_visit_joins(self):
        (link,) = missing_links(stated_fit(groups=(("a",), ("b",))), {"a": ["1"], "b": ["2"]}, [])
        assert (link.joins, link.needs) == (("b",), "visit")

"""Comparisons of two builds, by limits worked by hand."""

import math
from types import SimpleNamespace

import numpy as np
import pytest

from analysis.comparison.design import Spread
from analysis.comparison.fit import fit_season
from analysis.comparison.pairs import (
    compare_all,
    compare_each,
    compare_pair,
    fair_powers,
    is_any_comparable,
    place_ranges,
)
from tests.support.stated_fits import stated_fit


class TestStand:
    def test_no_link_no_word_however_sure_the_fit(self):
        body = compare_pair(stated_fit(1.0, 0.01, groups=(("a",), ("b",))), "a", "b")
        assert (body.comparable, body.statement) == ("not_yet", "not_yet")
        assert body.probability_a_ahead is None

    def test_too_doubtful_to_compare(self):
        body = compare_pair(stated_fit(1.0, 0.2501), "a", "b")
        assert (body.comparable, body.statement) == ("not_yet", "not_yet")

    @pytest.mark.parametrize(
        ("u", "comparable"), [(0.15, "yes"), (0.1501, "rough"), (0.25, "rough")]
    )
    def test_how_closely(self, u, comparable):
        assert compare_pair(stated_fit(0.1, u), "a", "b").comparable == comparable

    # Quantiles of the normal distribution, NIST/SEMATECH e-Handbook 1.3.6.7.1: 0.80 at 0.8416,
    # 0.95 at 1.6449.
    @pytest.mark.parametrize(
        ("quantile", "statement"),
        [(1.66, "a_ahead"), (1.63, "a_probably_ahead"), (0.85, "a_probably_ahead"),
         (0.83, "too_close"), (-0.83, "too_close"), (-0.85, "b_probably_ahead"),
         (-1.63, "b_probably_ahead"), (-1.66, "b_ahead")],
    )  # fmt: skip
    def test_statements(self, quantile, statement):
        assert compare_pair(stated_fit(quantile * 0.1, 0.1), "a", "b").statement == statement

    def test_probability(self):
        assert compare_pair(
            stated_fit(0.08416, 0.1), "a", "b"
        ).probability_a_ahead == pytest.approx(0.8, abs=1e-4)


class TestFairPower:
    """The rotor 60 mW, a build that reads e^0.2 of it, another that nothing joins."""

    def season(self):
        rows = [("ref", "", "1"), ("a", "x", "1")] * 6 + [("b", "y", "2")]
        build, team, bench = zip(*rows, strict=True)
        y = [-3.0 + 0.2 * (each == "a") for each in build]
        return fit_season(
            {"log_power": y, "u_own": [0.001] * 13, "build_id": build, "team_id": team,
             "bench_id": bench, "session_id": [f"{b}{k // 2}" for k, b in enumerate(bench)]},
            spread=Spread(interaction=1e-4, session=1e-4, team=2.0, build=2.0),
        )  # fmt: skip

    def test_on_the_rotors_scale(self):
        fair = fair_powers(self.season(), {"ref": 0.060})
        assert fair["a"].power_w == pytest.approx(0.060 * math.exp(0.2), rel=1e-3)
        assert fair["ref"].power_w == pytest.approx(0.060)
        assert fair["ref"].u_total == pytest.approx(0.0, abs=1e-6)
        low, high = fair["a"].interval_w
        assert high / fair["a"].power_w == pytest.approx(math.exp(2 * fair["a"].u_total))
        assert low < fair["a"].power_w

    def test_no_comparison_without_a_link(self):
        season = self.season()
        assert set(fair_powers(season, {"ref": 0.060})) == {"ref", "a"}
        assert fair_powers(season, {}) == {}

    def test_the_rotors_own_uncertainty_is_given_apart(self):
        """2.6 √(0.046² + 0.03² + 0.01²) = 0.1452, with meter and load 0.1457 [worked by hand]."""
        fair = fair_powers(self.season(), {"ref": 0.060})
        by_hand = math.sqrt(0.146**2 + 0.04**2 / 10 + 0.03**2 / 3)
        assert fair["a"].u_region == pytest.approx(by_hand)

    @pytest.mark.parametrize("factor", [0.5, 3.0])
    def test_an_anchor_twice_as_strong_makes_all_twice_as_strong(self, factor):
        season = self.season()
        one, other = (fair_powers(season, {"ref": 0.060 * f})["a"] for f in (1.0, factor))
        assert other.power_w == pytest.approx(factor * one.power_w)
        assert other.u_total == one.u_total


def test_pairs_of_many_agree_with_one_at_a_time():
    rows = [("ref", "", "1"), ("a", "x", "1"), ("b", "y", "1"), ("c", "z", "2")] * 3
    build, team, bench = zip(*rows, strict=True)
    rng = np.random.default_rng(2)
    season = fit_season(
        {"log_power": rng.normal(-3, 0.2, 12), "u_own": [0.04] * 12, "build_id": build,
         "team_id": team, "bench_id": bench, "session_id": bench}
    )  # fmt: skip
    pairs = {(pair.a, pair.b): pair for pair in compare_all(season, ["a", "b", "c"])}
    assert pairs["a", "b"] == compare_pair(season, "a", "b")
    assert pairs["a", "b"].u_difference == pytest.approx(season.u_difference("a", "b"))
    assert pairs["a", "c"].statement == "not_yet"
    assert compare_each(season, []) == []
    for one in compare_each(season, [("c", "a"), ("a", "b")]):
        other = pairs.get((one.a, one.b)) or pairs[one.b, one.a]
        assert (one.comparable, one.u_difference) == (
            other.comparable, other.u_difference and pytest.approx(other.u_difference),
        )  # fmt: skip


@pytest.mark.parametrize("at_bench", [0.05, 0.8])
def test_short_cuts_agree_with_the_comparison_of_each_pair(at_bench):
    """Places and whether anything can be compared, for drawn builds at benches with a link."""
    rng = np.random.default_rng(5)
    rows = [(f"b{build}", bench) for bench in "12" for build in (0, *range(int(bench), 12, 2))] * 2
    build, bench = zip(*rows, strict=True)
    power = dict(zip(dict.fromkeys(build), rng.normal(-3, 0.3, 12), strict=True))
    season = fit_season(
        {"log_power": [power[each] + rng.normal(0, 0.1) for each in build],
         "u_own": [at_bench] * len(rows), "build_id": build, "team_id": build,
         "bench_id": bench, "session_id": bench}
    )  # fmt: skip
    order = sorted(season.build_ids, key=lambda each: -season.effects[each])
    pairs = compare_all(season, order)
    assert is_any_comparable(season, [(pair.a, pair.b) for pair in pairs]) == any(
        pair.comparable != "not_yet" for pair in pairs
    )
    sure = {(pair.a, pair.b) for pair in pairs if pair.statement == "a_ahead"}
    expected = {
        build: (
            1 + sum((other, build) in sure for other in order[:place]),
            len(order) - sum((build, other) in sure for other in order[place + 1 :]),
        )
        for place, build in enumerate(order)
    }
    assert place_ranges(season, [order]) == expected


class TestPlaceRanges:
    """Powers 0.5 apart with an uncertainty of 0.1 are surely apart, 0.05 are not."""

    def ranges(self, *log_power):
        builds = [f"b{at}" for at in range(len(log_power))]
        fit = SimpleNamespace(
            effects=dict(zip(builds, log_power, strict=True)), group_of=dict.fromkeys(builds, 0),
            u_of_pairs=lambda pairs: np.full(len(pairs), 0.1),
        )  # fmt: skip
        return list(place_ranges(fit, [builds]).values())

    def test_all_apart_and_all_alike(self):
        assert self.ranges(2.0, 1.5, 1.0) == [(1, 1), (2, 2), (3, 3)]
        assert self.ranges(1.1, 1.05, 1.0) == [(1, 3), (1, 3), (1, 3)]

    def test_a_row_of_neighbours_that_are_each_too_close(self):
        """0.12 apart is 1.2 u (too close at 95 %), 0.24 is 2.4 u (apart)."""
        assert self.ranges(1.24, 1.12, 1.0) == [(1, 2), (1, 3), (2, 3)]

    def test_of_many_only_the_twenty_next_are_compared(self):
        assert self.ranges(*[1.0] * 40)[0] == (1, 21)

    def test_one_alone_and_none(self):
        assert (self.ranges(1.0), self.ranges()) == ([(1, 1)], [])

    def test_those_of_some_builds_are_the_same(self):
        builds = [f"b{at}" for at in range(30)]
        rng = np.random.default_rng(3)
        power = np.sort(rng.normal(1.0, 0.4, 30))[::-1].tolist()
        fit = SimpleNamespace(
            effects=dict(zip(builds, power, strict=True)), group_of=dict.fromkeys(builds, 0),
            u_of_pairs=lambda pairs: np.full(len(pairs), 0.1),
        )  # fmt: skip
        every = place_ranges(fit, [builds])
        some = {"b0", "b7", "b29"}
        assert place_ranges(fit, [builds], some) == {each: every[each] for each in some}

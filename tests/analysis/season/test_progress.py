"""Conditions for a trend and its verdict, and for a plateau of builds."""

import pytest

from analysis.season.estimates import Figure
from analysis.season.progress import has_plateaued, trend_of, weeks_between
from tests.bench.calibration import verdicts


def figure(power_w, u_own=0.02, u_bench=0.14, bench_id="bench"):
    return Figure("", power_w, power_w, u_own, u_bench, 0.15, (0.0, 1.0), 1, 1, bench_id)


class TestTooEarly:
    @pytest.mark.parametrize(
        "weeks",
        [[], [0], [0, 1, 4], [0, 1, 2, 2.9], [0, 0, 0, 4], [0, 1, 1, 4]],
        ids=["none", "one", "three", "not three weeks", "two days", "three days"],
    )
    def test_no_slope(self, weeks):
        trend = trend_of(weeks, [0.1 * n for n in range(len(weeks))])
        assert (trend.verdict, trend.slope, trend.test) == ("too_early", None, None)
        assert trend.reason == "too_few_for_a_trend;sessions=4;weeks=3"

    def test_four_sessions_show_a_slope_and_no_verdict(self):
        trend = trend_of([0, 1, 2, 3], [0.0, 0.1, 0.2, 0.3])
        assert trend.slope.slope == pytest.approx(0.1)
        assert (trend.verdict, trend.reason) == (
            "too_early",
            "too_few_to_call_a_trend;sessions=5",
        )


# Chances of at least this S among the 120 orders of five, by counting inversions
# (Kendall, "Rank Correlation Methods", table 1: 0.008, 0.042, 0.117) [memory].
@pytest.mark.parametrize(
    ("order", "s", "p", "verdict"),
    [([1, 2, 3, 4, 5], 10, 1 / 120, "improving"), ([1, 2, 3, 5, 4], 8, 5 / 120, "likely_improving"),
     ([2, 1, 3, 5, 4], 6, 14 / 120, "no_clear_trend"), ([5, 4, 3, 2, 1], -10, 1, "no_clear_trend")],
)  # fmt: skip
def test_verdict_of_five_sessions(order, s, p, verdict):
    trend = trend_of([0, 1, 2, 3, 4], [0.1 * n for n in order])
    assert (trend.test.s, trend.verdict) == (s, verdict)
    assert trend.test.p_one_sided == pytest.approx(p)


@pytest.mark.parametrize(
    ("order", "s", "orders", "verdict"),
    [([2, 1, 4, 3, 6, 5], 9, 49, "no_clear_trend"),
     ([1, 2, 4, 3, 6, 5], 11, 20, "likely_improving"),
     ([1, 2, 3, 4, 6, 5], 13, 6, "improving")],
)  # fmt: skip
def test_the_second_look_asks_for_more(order, s, orders, verdict):
    """0.03/2^0.6 = 0.020 and 0.075/2^0.6 = 0.049; 6, 20 and 49 of 720 orders (Kendall, table 1)."""
    trend = trend_of([0, 1, 2, 3, 4, 5], order)
    assert trend.test.s == s
    assert trend.test.p_one_sided == pytest.approx(orders / 720)
    assert trend.verdict == verdict


def test_a_team_that_does_not_improve_is_rarely_called_improving_at_any_look():
    """Of 1,000 seasons of 12 sessions; at a fixed limit of 5 % it is 14 of 100."""
    _, at_any = verdicts.false_trends(12, 1_000)
    assert 0.02 < at_any <= 0.06


class TestPlateau:
    def test_three_builds_are_too_few_to_call_it(self):
        assert not has_plateaued([figure(0.05)] * 3)

    def test_no_gain_in_three_builds(self):
        assert has_plateaued([figure(power) for power in (0.03, 0.05, 0.048, 0.051, 0.05)])

    def test_a_gain_beyond_doubt_among_the_last_three(self):
        """u of a difference is √2 · 0.02 = 2.83 %: 3 % more is a gain, 2.5 % is not."""
        assert has_plateaued([figure(0.05), figure(0.05), figure(0.05 * 1.025), figure(0.05)])
        assert not has_plateaued([figure(0.05), figure(0.05), figure(0.05 * 1.030), figure(0.05)])

    def test_early_growth_does_not_count(self):
        powers = (0.02, 0.03, 0.05, 0.049, 0.0495, 0.05)
        assert has_plateaued([figure(power) for power in powers])


def test_weeks_after_the_first_moment():
    assert weeks_between([]) == []
    assert weeks_between([604800.0, 0.0, 302400.0]) == [1.0, 0.0, 0.5]

"""When a trend may be shown and called, and what one test of a change can see."""

import pytest

from analysis.progress import effect_of_change, trend_of, weeks_between
from analysis.season import Figure


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
        assert "4 sessions on different days over 3 weeks" in trend.reason

    def test_four_sessions_show_a_slope_and_no_verdict(self):
        trend = trend_of([0, 1, 2, 3], [0.0, 0.1, 0.2, 0.3])
        assert trend.slope.slope == pytest.approx(0.1)
        assert (trend.verdict, trend.reason) == (
            "too_early",
            "5 sessions are needed to call a trend",
        )


# Chances of at least this S among the 120 orders of five, by counting inversions
# (Kendall, "Rank Correlation Methods", table 1: 0.008, 0.042, 0.117) [memory].
@pytest.mark.parametrize(
    ("order", "s", "p", "verdict"),
    [([1, 2, 3, 4, 5], 10, 1 / 120, "improving"), ([1, 2, 3, 5, 4], 8, 5 / 120, "improving"),
     ([2, 1, 3, 5, 4], 6, 14 / 120, "no_clear_trend"), ([5, 4, 3, 2, 1], -10, 1, "no_clear_trend")],
)  # fmt: skip
def test_verdict_of_five_sessions(order, s, p, verdict):
    trend = trend_of([0, 1, 2, 3, 4], [0.1 * n for n in order])
    assert (trend.test.s, trend.verdict) == (s, verdict)
    assert trend.test.p_one_sided == pytest.approx(p)


def test_likely_between_one_in_twenty_and_one_in_ten():
    """Six sessions with S = 9: 49 of 720 orders, 0.068 (Kendall, table 1) [memory]."""
    trend = trend_of([0, 1, 2, 3, 4, 5], [2, 1, 4, 3, 6, 5])
    assert trend.test.s == 9
    assert trend.test.p_one_sided == pytest.approx(49 / 720)
    assert trend.verdict == "likely_improving"


class TestEffect:
    def test_detectable_change_by_hand(self):
        """z(0.95) + z(0.80) = 1.6449 + 0.8416; times √2 · 0.02 makes 0.07033, or 7.29 %."""
        effect = effect_of_change(figure(0.055), figure(0.05))
        assert effect.effect_pct == pytest.approx(10.0)
        assert effect.detectable_pct == pytest.approx(7.29, abs=0.01)

    def test_another_bench_brings_its_own_doubt(self):
        """√(2 · 0.02² + 2 · 0.14²) = 0.2; times 2.4865 makes 0.4973, or 64.4 %."""
        effect = effect_of_change(figure(0.055), figure(0.05, bench_id="other"))
        assert effect.detectable_pct == pytest.approx(64.4, abs=0.1)
        low, high = effect.interval_pct
        assert low < 0 < high


def test_weeks_after_the_first_moment():
    assert weeks_between([]) == []
    assert weeks_between([604800.0, 0.0, 302400.0]) == [1.0, 0.0, 0.5]

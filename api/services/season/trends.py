"""Calculate a team's trend from its sessions, adjusted to an average bench."""

import math
from collections import Counter
from collections.abc import Sequence
from datetime import datetime

from analysis.season.estimates import Figure
from analysis.season.progress import Trend, trend_of, weeks_between
from analysis.uncertainty import percent
from api.messages.reasons import say_reason
from api.models.season.reports import TrendRead
from api.services.core import wording
from api.services.season.fit import Fitted


def adjusted_powers(
    team_id: str, sessions: Sequence[Figure], fitted: Fitted | None
) -> list[float | None]:
    """Return each session's power at an average bench, or None if it cannot be compared.

    Only sessions of one comparable group are used: the group with most sessions.
    """
    if fitted is None:
        return [None] * len(sessions)
    groups = fitted.session_groups(team_id)
    group_of = [groups[figure.label] for figure in sessions]
    most = Counter(group_of).most_common(1)
    return [
        figure.normalised_power_w * math.exp(-fitted.to_average[figure.label])
        if group == most[0][0]
        else None
        for figure, group in zip(sessions, group_of, strict=True)
    ]


def read_trend(moments: Sequence[datetime], powers: Sequence[float | None]) -> TrendRead:
    """Return the trend of a team's sessions in per cent per week, with a sentence."""
    joined = [(moment, power) for moment, power in zip(moments, powers, strict=True) if power]
    weeks = weeks_between([moment.timestamp() for moment, _ in joined])
    trend = trend_of(weeks, [math.log(power) for _, power in joined])
    slope, interval = _per_week(trend)
    return TrendRead(
        sessions=trend.sessions,
        slope_pct_per_week=slope,
        interval_pct_per_week=interval,
        kendall_s=trend.test.s if trend.test else None,
        p_one_sided=trend.test.p_one_sided if trend.test else None,
        verdict=trend.verdict,
        reason=say_reason(trend.reason) or None,
        **wording.statement(f"trend.{trend.verdict}", slope=slope or 0.0),
    )


def _per_week(trend: Trend) -> tuple[float | None, tuple[float, float] | None]:
    """Return a slope of ln power and its interval in per cent per week."""
    if trend.slope is None:
        return None, None
    low, high = trend.slope.interval
    return percent(trend.slope.slope), (percent(low), percent(high))

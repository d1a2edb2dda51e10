"""A team's way in words that can be stood by: trend, effect of a change, what to test next."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.distributions import normal_quantile
from analysis.season import Figure, compare, uncertainty_of_change
from analysis.trend import MannKendall, Slope, mann_kendall, theil_sen

LEAST_SESSIONS, LEAST_DAYS, LEAST_WEEKS = 4, 4, 3.0  # to show a slope
SESSIONS_TO_CALL = 5  # to call it
IMPROVING_UP_TO, LIKELY_UP_TO = 0.05, 0.10  # probability of chance, one-sided
POWER, CONFIDENCE = 0.80, 0.90  # of a test of one change, two-sided

Verdict = Literal["too_early", "no_clear_trend", "likely_improving", "improving"]


@dataclass(frozen=True, slots=True)
class Trend:
    """Whether power grows from session to session; without enough sessions, why not known."""

    sessions: int
    slope: Slope | None
    test: MannKendall | None
    verdict: Verdict
    reason: str


@dataclass(frozen=True, slots=True)
class Effect:
    """What came with the change from one build to the next, and what would have been seen."""

    effect_pct: float
    interval_pct: tuple[float, float]
    detectable_pct: float


def trend_of(weeks: Sequence[float], ln_power: Sequence[float]) -> Trend:
    """Return the trend of a team's sessions.

    Parameters
    ----------
    weeks : sequence of float, length n
        When each session was, in order. [weeks]
    ln_power : sequence of float, length n
        Typical ln power of each. [-]

    Returns
    -------
    Trend
        Slope from four sessions on four days over three weeks, a verdict from five.

    Examples
    --------
    >>> trend_of([0, 1, 2, 3, 4], [0.0, 0.1, 0.15, 0.3, 0.4]).verdict
    'improving'
    >>> trend_of([0, 1], [0.0, 0.1]).reason
    'a trend needs 4 sessions on different days over 3 weeks'
    """
    days = {round(7 * week, 3) for week in weeks}
    too_few = len(weeks) < LEAST_SESSIONS or len(days) < LEAST_DAYS
    if too_few or max(weeks) - min(weeks) < LEAST_WEEKS:
        reason = (
            f"a trend needs {LEAST_SESSIONS} sessions on different days over {LEAST_WEEKS:g} weeks"
        )
        return Trend(len(weeks), None, None, "too_early", reason)
    slope, test = theil_sen(weeks, ln_power), mann_kendall(ln_power)
    if len(weeks) < SESSIONS_TO_CALL:
        reason = f"{SESSIONS_TO_CALL} sessions are needed to call a trend"
        return Trend(len(weeks), slope, test, "too_early", reason)
    return Trend(len(weeks), slope, test, _verdict(test.p_one_sided), "")


def _verdict(p_one_sided: float) -> Verdict:
    if p_one_sided <= IMPROVING_UP_TO:
        return "improving"
    return "likely_improving" if p_one_sided <= LIKELY_UP_TO else "no_clear_trend"


def effect_of_change(newer: Figure, older: Figure) -> Effect:
    """Return what came with the change from one build to the next.

    Parameters
    ----------
    newer, older : Figure
        Typical power of the two builds.

    Returns
    -------
    Effect
        Difference with its k = 2 interval, and the smallest change that a test like this one
        shows with 80 % power at 90 % confidence, two-sided.

    Examples
    --------
    >>> def figure(power_w):
    ...     return Figure("", power_w, power_w, 0.028 / 2**0.5, 0.14, 0.14, (0, 1), 1, 1, "b")
    >>> effect = effect_of_change(figure(0.056), figure(0.05))
    >>> round(effect.effect_pct), round(effect.detectable_pct, 1)
    (12, 7.2)
    """
    change = compare(newer, older)
    u = uncertainty_of_change(newer, older)
    factor = normal_quantile((1 + CONFIDENCE) / 2) + normal_quantile(POWER)
    return Effect(change.change_pct, change.interval_pct, 100 * math.expm1(factor * u))


def weeks_between(seconds: npt.ArrayLike) -> list[float]:
    """Return moments as weeks after the first.

    Parameters
    ----------
    seconds : array-like, shape (n,)
        Moments. [s]

    Returns
    -------
    list of float
        Weeks. [weeks]

    Examples
    --------
    >>> weeks_between([0.0, 604800.0])
    [0.0, 1.0]
    """
    moments = np.asarray(seconds, dtype=np.float64)
    return [float(each) for each in (moments - moments.min()) / 604_800] if moments.size else []

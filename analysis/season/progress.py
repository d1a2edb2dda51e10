"""Judge a team's progress: the trend of its sessions, and whether its builds still improve."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.reasons import reason
from analysis.season.estimates import Figure, uncertainty_of_change
from analysis.trend import MannKendall, Slope, mann_kendall, theil_sen

LEAST_SESSIONS, LEAST_DAYS, LEAST_WEEKS = 4, 4, 3.0  # to show a slope
SESSIONS_TO_CALL = 5  # to call it
#: Probability of chance, one-sided, at the first look; see `_verdict` for later ones.
IMPROVING_UP_TO, LIKELY_UP_TO = 0.03, 0.075
FALLS_WITH = 0.6  # [-], power of the number of looks that the limits fall with
PLATEAU_BUILDS = 3  # builds without gain after which another factor is worth a try

Verdict = Literal["too_early", "no_clear_trend", "likely_improving", "improving"]


@dataclass(frozen=True, slots=True)
class Trend:
    """Whether power grows from session to session; `reason` says why it is not known, if so."""

    sessions: int
    slope: Slope | None
    test: MannKendall | None
    verdict: Verdict
    reason: str


def trend_of(weeks: Sequence[float], ln_power: Sequence[float]) -> Trend:
    """Return the trend of a team's sessions.

    Parameters
    ----------
    weeks : sequence of float, length n
        Time of each session, in order. [weeks]
    ln_power : sequence of float, length n
        Typical ln power of each. [-]

    Returns
    -------
    Trend
        Slope from four sessions on four days over three weeks, a verdict from five. The verdicts of
        a whole season, looked at after each session, are false together in about 5 % of seasons.

    Examples
    --------
    >>> trend_of([0, 1, 2, 3, 4], [0.0, 0.1, 0.15, 0.3, 0.4]).verdict
    'improving'
    >>> trend_of([0, 1], [0.0, 0.1]).reason
    'too_few_for_a_trend;sessions=4;weeks=3'
    """
    days = {round(7 * week, 3) for week in weeks}
    too_few = len(weeks) < LEAST_SESSIONS or len(days) < LEAST_DAYS
    if too_few or max(weeks) - min(weeks) < LEAST_WEEKS:
        why = reason("too_few_for_a_trend", sessions=LEAST_SESSIONS, weeks=LEAST_WEEKS)
        return Trend(len(weeks), None, None, "too_early", why)
    slope, test = theil_sen(weeks, ln_power), mann_kendall(ln_power)
    if len(weeks) < SESSIONS_TO_CALL:
        why = reason("too_few_to_call_a_trend", sessions=SESSIONS_TO_CALL)
        return Trend(len(weeks), slope, test, "too_early", why)
    return Trend(len(weeks), slope, test, _verdict(test.p_one_sided, len(weeks)), "")


def _verdict(p_one_sided: float, sessions: int) -> Verdict:
    """Return the verdict at one look of many: a team looks again after each session.

    At a fixed limit of 5 % a team without any trend would be called improving at some look in 18 %
    of seasons of 16 sessions. With limits that fall as 1/look^0.6 it is 5 %, by simulation.
    """
    looks = float(sessions - SESSIONS_TO_CALL + 1)
    if p_one_sided <= IMPROVING_UP_TO / looks**FALLS_WITH:
        return "improving"
    is_likely = p_one_sided <= LIKELY_UP_TO / looks**FALLS_WITH
    return "likely_improving" if is_likely else "no_clear_trend"


def has_plateaued(builds: Sequence[Figure]) -> bool:
    """Tell whether the newest builds are not clearly better than the earlier ones.

    Parameters
    ----------
    builds : sequence of Figure
        Typical power of a team's builds, oldest first.

    Returns
    -------
    bool
        True if none of the last three is above the best earlier one by more than the standard
        uncertainty of the difference; False with fewer than four.

    Examples
    --------
    >>> def figure(power_w):
    ...     return Figure("", power_w, power_w, 0.03, 0.14, 0.14, (0, 1), 1, 1, "b")
    >>> has_plateaued([figure(power) for power in (0.05, 0.051, 0.050, 0.049)])
    True
    >>> has_plateaued([figure(power) for power in (0.05, 0.051, 0.056, 0.049)])
    False
    """
    if len(builds) <= PLATEAU_BUILDS:
        return False
    before, newest = builds[:-PLATEAU_BUILDS], builds[-PLATEAU_BUILDS:]
    best = max(before, key=lambda figure: figure.normalised_power_w)
    return not any(
        math.log(figure.normalised_power_w / best.normalised_power_w)
        > uncertainty_of_change(figure, best)
        for figure in newest
    )


def weeks_between(seconds: npt.ArrayLike) -> list[float]:
    """Return moments as weeks after the earliest.

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

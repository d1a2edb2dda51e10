"""Estimate the difference between one build and the next, and the smallest detectable one.

Old and new back to back in one session share everything but the change, so the
session's own scatter cancels; with the old one before and after, a steady
drift cancels too. In different sessions both count.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis import uncertainty
from analysis.columns import FloatArray, TextArray
from analysis.numeric.distributions import normal_quantile
from analysis.numeric.groups import group_by
from analysis.season.estimates import Figure, uncertainty_of_change
from analysis.trials.results import U_PLACEMENT, U_SESSION, PowerResults
from analysis.uncertainty import percent

POWER, CONFIDENCE = 0.80, 0.90  # of a test of one change, two-sided
#: [-], of ln wind speed: one reading before a trial, 1 % with the last digit of a display of
#: 0.1 m/s at 4 m/s; common practice, no source.
U_WIND_READING = 0.012
SAME_WIND = 1e-9  # [-], of ln wind speed

Design = Literal["old_new_old", "same_session", "different_sessions"]


@dataclass(frozen=True, slots=True)
class Effect:
    """The difference between one build and the next, and the smallest detectable difference.

    `trials` and `sessions` are the numbers of those it is based on.
    """

    effect_pct: float
    interval_pct: tuple[float, float]
    detectable_pct: float
    design: Design
    trials: int
    sessions: int


@dataclass(frozen=True, slots=True)
class Pairing:
    """Trials of an old and a new build, in the order they were run; arrays of shape (n,)."""

    ln_power: FloatArray
    #: Standard uncertainty of each, beside what its session adds to all of them.
    u_trial: FloatArray
    session_id: TextArray
    is_new: npt.NDArray[np.bool_]


def trial_uncertainty(
    results: PowerResults, session_id: TextArray, residual: float = 1.0
) -> FloatArray:
    """Return the standard uncertainty of each trial against others of its session.

    Parameters
    ----------
    results : PowerResults
        Results of n trials.
    session_id : array of str, shape (n,)
        Their sessions.
    residual : float, optional
        How many times their stated uncertainty the season's trials scatter; less than once does not
        count. [-]

    Returns
    -------
    array, shape (n,)
        Scatter of its runs, of the place the tower is put back in, and where trials of one session
        have winds of their own, of reading the wind. [-]
    """
    lever = results.exponent_lever
    sessions = group_by(session_id)
    has_own_wind = sessions.largest(lever) + sessions.largest(-lever) > SAME_WIND
    reading = np.where(has_own_wind[sessions.codes], U_WIND_READING * results.wind_exponent, 0.0)
    placement = np.full_like(lever, U_PLACEMENT)
    stated = uncertainty.combine(results.u_repeat, placement, reading)
    return stated * max(1.0, residual)


def effect_of_change(
    newer: Figure, older: Figure, trials: Pairing, session_sd: float = U_SESSION
) -> Effect:
    """Return what came with the change from one build to the next.

    Parameters
    ----------
    newer, older : Figure
        Typical power of the two builds.
    trials : Pairing
        Their trials that count, in the order they were run.
    session_sd : float, optional
        Standard deviation of ln power from session to session, as the season shows it. [-]

    Returns
    -------
    Effect
        Difference with its k = 2 interval, and the smallest change that a test like this one
        detects with 80 % power at 90 % confidence, two-sided. Only sessions with both builds
        count; if there is none, the typical powers are compared.

    Notes
    -----
    In a session the difference is the mean of the new less that of the old, its variance the sum of
    the squares of each trial's uncertainty over the squared counts; sessions are weighted by their
    inverse variances.

    Examples
    --------
    Three runs each (4 % a run) and 2 % for putting the tower back, old, new, old, in one session:

    >>> def figure(power_w):
    ...     return Figure("", power_w, power_w, 0.04, 0.14, 0.14, (0, 1), 1, 1, "b")
    >>> runs = Pairing(np.log([0.050, 0.056, 0.050]), np.full(3, np.hypot(0.04 / 3**0.5, 0.02)),
    ...     np.array(["s"] * 3), np.array([False, True, False]))
    >>> effect = effect_of_change(figure(0.056), figure(0.05), runs)
    >>> round(effect.effect_pct), round(effect.detectable_pct, 1), effect.design
    (12, 9.8, 'old_new_old')
    """
    both = _sessions_of_both(trials)
    if both.any():
        return _within_sessions(trials, both)
    ratio = newer.normalised_power_w / older.normalised_power_w
    # The figures hold the usual spread of sessions; a season may know that its own is wider.
    more = max(session_sd**2 - U_SESSION**2, 0.0) * (1 / newer.sessions + 1 / older.sessions)
    u = math.hypot(uncertainty_of_change(newer, older), math.sqrt(more))
    trial_count, sessions = newer.trials + older.trials, newer.sessions + older.sessions
    return _effect(math.log(ratio), u, "different_sessions", trial_count, sessions)


def _sessions_of_both(trials: Pairing) -> npt.NDArray[np.bool_]:
    """Return a mask of the trials in sessions with both builds."""
    sessions = group_by(trials.session_id)
    share_new = sessions.mean(trials.is_new.astype(float))
    return ((share_new > 0) & (share_new < 1))[sessions.codes]


def _within_sessions(trials: Pairing, both: npt.NDArray[np.bool_]) -> Effect:
    """Return the difference within the sessions that hold both builds."""
    y, u, is_new = trials.ln_power[both], trials.u_trial[both], trials.is_new[both]
    sessions = group_by(trials.session_id[both])
    count = {new: sessions.sum((is_new == new).astype(float)) for new in (False, True)}
    mean = {new: sessions.sum(np.where(is_new == new, y, 0)) / count[new] for new in (False, True)}
    variance = sum(
        sessions.sum(np.where(is_new == new, u**2, 0)) / count[new] ** 2 for new in (False, True)
    )
    weight = 1 / np.asarray(variance)
    difference = float(np.sum(weight * (mean[True] - mean[False])) / np.sum(weight))
    is_framed = all(
        not is_new[sessions.codes == code][0] and not is_new[sessions.codes == code][-1]
        for code in range(sessions.size)
    )
    design: Design = "old_new_old" if is_framed else "same_session"
    return _effect(difference, float(np.sum(weight)) ** -0.5, design, len(y), sessions.size)


def _effect(difference: float, u: float, design: Design, trials: int, sessions: int) -> Effect:
    reach = uncertainty.COVERAGE_FACTOR * u
    factor = normal_quantile((1 + CONFIDENCE) / 2) + normal_quantile(POWER)
    return Effect(
        effect_pct=percent(difference),
        interval_pct=(percent(difference - reach), percent(difference + reach)),
        detectable_pct=percent(factor * u),
        design=design,
        trials=trials,
        sessions=sessions,
    )

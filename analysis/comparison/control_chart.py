"""Watch the reference rotor: a control chart for each bench, and whether the rotor itself drifts.

The rotor's power at one bench should stay the same from session to session. A single session off is
a matter of that session; a slope at several benches at once is a matter of the rotor.

References
----------
.. [1] Shewhart charts with warning limits at 2 and action limits at 3 standard deviations, and the
   rule of eight points in a row on one side, are common practice (Western Electric rules).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.comparison.bench_scores import Verdict, verdict_of
from analysis.comparison.design import Spread
from analysis.numeric.distributions import student_t_quantile
from analysis.numeric.groups import Groups, group_by

IN_A_ROW = 8  # points on one side of the mean
SECONDS_A_WEEK = 604_800.0
CERTAIN = 0.995  # probability below the upper limit, so that 1 % of steady rotors are called
LIKELY = 0.975  # of the stated interval, 95 %
LEAST_FREEDOM, LEAST_WEEKS, LEAST_BENCHES = 4, 3.0, 2  # before a rotor is said to drift


@dataclass(frozen=True, slots=True)
class ChartPoint:
    """The reference rotor in one session: ln power less its mean at the bench, and its z.

    `limit` is one standard deviation of `off` if nothing has changed.
    """

    session_id: str
    started_at: float
    off: float
    limit: float
    z: float
    verdict: Verdict
    trials: int


@dataclass(frozen=True, slots=True)
class ControlChart:
    """The sessions of one reference rotor at one bench, in order of time.

    `moved_at` is the first session of the newest eight or more in a row on one side, or None.
    """

    bench_id: str
    rotor_id: str
    points: list[ChartPoint]
    moved_at: str | None


@dataclass(frozen=True, slots=True)
class Drift:
    """The change of the reference rotors' ln power per week, common to all benches.

    `is_certain` if a steady rotor would show as much in 1 % of seasons at most, at two benches or
    more: at a single one the fan may have changed as well.
    """

    per_week: float
    interval: tuple[float, float]
    weeks: float
    benches: int
    is_certain: bool


@dataclass(frozen=True, slots=True)
class _Visits:
    """The sessions of reference rotors: mean ln power of each, its variance, and its place."""

    rotor: npt.NDArray[np.generic]
    bench: npt.NDArray[np.generic]
    session: npt.NDArray[np.generic]
    started_at: FloatArray
    log_power: FloatArray
    variance: FloatArray
    trials: FloatArray

    def places(self) -> Groups:
        """Return the visits of each rotor at each bench."""
        rotors, benches = group_by(self.rotor), group_by(self.bench)
        return group_by(rotors.codes * benches.size + benches.codes)


def control_charts(
    trials: Mapping[str, npt.ArrayLike], spread: Spread | None = None
) -> list[ControlChart]:
    """Return a control chart of each reference rotor at each bench, from two sessions on.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        Trials of reference rotors: `log_power` [-], `u_own` [-], `build_id`, `bench_id`,
        `session_id`, `started_at` [s].
    spread : Spread, optional
        How much sessions and trials of the season scatter: the limits follow from it, because a few
        points by themselves would give limits that are as uncertain as the points.

    Returns
    -------
    list of ControlChart
        By bench, then rotor.

    Examples
    --------
    >>> charts = control_charts({"log_power": np.log([0.060, 0.061, 0.059, 0.078]),
    ...     "u_own": [0.03] * 4, "build_id": ["rotor"] * 4, "bench_id": ["hall"] * 4,
    ...     "session_id": ["s1", "s2", "s3", "s4"], "started_at": [0.0, 7e5, 14e5, 21e5]})
    >>> [(round(point.off, 2), point.verdict) for point in charts[0].points]
    [(-0.07, 'fine'), (-0.05, 'fine'), (-0.08, 'fine'), (0.2, 'act')]
    """
    visits = _visits(trials, spread or Spread())
    places = visits.places()
    charts = [_chart(visits, np.flatnonzero(places.codes == at)) for at in range(places.size)]
    several = [chart for chart in charts if len(chart.points) > 1]
    return sorted(several, key=lambda chart: (chart.bench_id, chart.rotor_id))


def rotor_drift(trials: Mapping[str, npt.ArrayLike], spread: Spread | None = None) -> Drift | None:
    """Return how fast the reference rotors change, from all benches together.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        As for `control_charts`.
    spread : Spread, optional
        Only the ratio of its terms matters: the residuals about the slope give the scale.

    Returns
    -------
    Drift or None
        None if the sessions are too few, or all within three weeks.

    Notes
    -----
    Weighted least squares with a level for each rotor at each bench; the interval is Student's.

    Examples
    --------
    >>> week = SECONDS_A_WEEK
    >>> drift = rotor_drift({"log_power": [-2.80, -2.82, -2.85, -2.86, -3.10, -3.11, -3.15, -3.17],
    ...     "u_own": [0.03] * 8, "build_id": ["rotor"] * 8, "bench_id": ["a"] * 4 + ["b"] * 4,
    ...     "session_id": list("abcdefgh"), "started_at": np.tile(week * np.arange(4.0), 2)})
    >>> round(drift.per_week, 3), drift.is_certain
    (-0.023, True)
    """
    visits = _visits(trials, spread or Spread())
    places = visits.places()
    freedom = len(visits.log_power) - places.size - 1
    weeks = float(np.ptp(visits.started_at)) / SECONDS_A_WEEK if len(visits.started_at) else 0.0
    if freedom < LEAST_FREEDOM or weeks < LEAST_WEEKS:
        return None
    weight = 1 / visits.variance
    time = _centred(visits.started_at / SECONDS_A_WEEK, weight, places)
    off = _centred(visits.log_power, weight, places)
    moment = float(np.sum(weight * time**2))
    if moment <= 0:
        return None
    slope = float(np.sum(weight * time * off)) / moment
    scale = float(np.sum(weight * (off - slope * time) ** 2)) / freedom
    error = math.sqrt(scale / moment)
    reach = error * student_t_quantile(LIKELY, freedom)
    benches = _benches_over_time(time, visits)
    is_certain = abs(slope) > error * student_t_quantile(CERTAIN, freedom)
    return Drift(
        slope,
        (slope - reach, slope + reach),
        weeks,
        benches,
        is_certain and benches >= LEAST_BENCHES,
    )


def freed_of_drift(trials: Mapping[str, npt.ArrayLike]) -> tuple[FloatArray, Drift | None]:
    """Return ln power of a season's trials, those of reference rotors freed of a certain drift.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        The columns of `control_charts` for all trials, and `team_id`, empty for a reference rotor.

    Returns
    -------
    tuple of array, shape (n,), and Drift or None
        ln power as if a rotor had stayed as it was in the middle of its sessions; and the drift,
        which changes nothing if it is not certain. [-]

    Notes
    -----
    Otherwise a rotor that becomes weaker would make all teams seem to improve.

    Examples
    --------
    >>> rotor = {"build_id": ["rotor"] * 8, "team_id": [""] * 8, "u_own": [0.03] * 8,
    ...     "bench_id": ["a"] * 4 + ["b"] * 4, "session_id": list("stuvwxyz"),
    ...     "log_power": [-2.80, -2.83, -2.85, -2.88, -3.10, -3.13, -3.15, -3.18],
    ...     "started_at": np.tile(SECONDS_A_WEEK * np.arange(4.0), 2)}
    >>> ln_power, drift = freed_of_drift(rotor)
    >>> round(drift.per_week, 3), ln_power[:4].round(2).tolist()
    (-0.026, [-2.84, -2.84, -2.84, -2.84])
    """
    columns = {name: np.asarray(column) for name, column in trials.items()}
    y, is_rotor = columns["log_power"].astype(float), columns["team_id"] == ""
    drift = rotor_drift({name: column[is_rotor] for name, column in columns.items()})
    if drift is None or not drift.is_certain:
        return y, drift
    weeks = columns["started_at"].astype(float) / SECONDS_A_WEEK
    middle = (weeks[is_rotor].min() + weeks[is_rotor].max()) / 2
    return np.where(is_rotor, y - drift.per_week * (weeks - middle), y), drift


def _visits(trials: Mapping[str, npt.ArrayLike], spread: Spread) -> _Visits:
    columns = {name: np.asarray(column) for name, column in trials.items()}
    rotors, sessions = group_by(columns["build_id"]), group_by(columns["session_id"])
    visits = group_by(rotors.codes * sessions.size + sessions.codes)
    weight = (columns["u_own"].astype(float) * spread.residual) ** -2.0
    total, one = visits.sum(weight), visits.one_of_each()
    return _Visits(
        rotor=columns["build_id"][one],
        bench=columns["bench_id"][one],
        session=columns["session_id"][one],
        started_at=visits.smallest(columns["started_at"].astype(float)),
        log_power=visits.sum(weight * columns["log_power"]) / total,
        variance=spread.session**2 + 1 / total,
        trials=visits.count(),
    )


def _centred(values: FloatArray, weight: FloatArray, places: Groups) -> FloatArray:
    """Return values less the weighted mean of their place."""
    return values - (places.sum(weight * values) / places.sum(weight))[places.codes]


def _benches_over_time(time: FloatArray, visits: _Visits) -> int:
    """Return the number of benches with sessions at different times."""
    return len(set(visits.bench[np.abs(time) > 0].tolist()))


def _chart(visits: _Visits, which: npt.NDArray[np.int64]) -> ControlChart:
    at = which[np.argsort(visits.started_at[which], kind="stable")]
    weight = 1 / visits.variance[at]
    off = visits.log_power[at] - np.sum(weight * visits.log_power[at]) / weight.sum()
    # The mean contains the point itself, so that it scatters less about it.
    limit = np.sqrt(np.maximum(visits.variance[at] - 1 / weight.sum(), 0.0))
    z = np.divide(off, limit, out=np.zeros_like(off), where=limit > 0)
    sessions = visits.session[at].tolist()
    points = [
        ChartPoint(session, started, value, one, score, verdict_of(score), int(count))
        for session, started, value, one, score, count in zip(
            sessions, visits.started_at[at].tolist(), off.tolist(), limit.tolist(), z.tolist(),
            visits.trials[at].tolist(), strict=True,
        )
    ]  # fmt: skip
    moved = _newest_on_one_side(off)
    return ControlChart(
        bench_id=str(visits.bench[at[0]]),
        rotor_id=str(visits.rotor[at[0]]),
        points=points,
        moved_at=None if moved is None else sessions[moved],
    )


def _newest_on_one_side(off: FloatArray) -> int | None:
    """Return the first of the newest points that are on one side, if there are eight or more."""
    side = np.sign(off)
    changes = np.flatnonzero(side[1:] != side[:-1])
    first = int(changes[-1]) + 1 if changes.size else 0
    return first if len(off) - first >= IN_A_ROW else None

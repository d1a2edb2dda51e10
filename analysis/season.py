"""A season's trials summed up: typical power of builds and sessions, and each team's way.

Typical is the mean of ln P over the record trials that count. The largest
trial is told beside it as "best seen" and used for nothing, since the largest
of many noisy numbers is too large.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import uncertainty
from analysis.columns import FloatArray, TextArray
from analysis.distributions import normal_cdf
from analysis.exponent import OUT_OF_RANGE
from analysis.groups import Groups, group_by
from analysis.trial_inputs import Columns
from analysis.trial_result import U_SESSION, TrialResults
from analysis.uncertainty import percent

RECORD = "record"
ACCEPTED = "accepted"

#: What places a trial in its team's season.
PLACED_BY = ("team_id", "turbine_id", "build_id", "build_number", "session_id", "started_at")


@dataclass(frozen=True, slots=True)
class Figure:
    """A normalised power with its doubt and what stands behind it."""

    label: str
    normalised_power_w: float
    normalised_power_cubic_w: float
    u_own: float
    u_bench: float
    u_total: float
    interval_w: tuple[float, float]
    trials: int
    sessions: int
    bench_id: str | None


@dataclass(frozen=True, slots=True)
class Change:
    """How a later figure differs from an earlier one."""

    change_pct: float
    interval_pct: tuple[float, float]


@dataclass(frozen=True, slots=True)
class BestSeen:
    """The largest trial of a team; the largest of `trials` noisy numbers, so rather too large."""

    normalised_power_w: float
    u_total: float
    interval_w: tuple[float, float]
    trial_id: str
    build_id: str
    trials: int


@dataclass(frozen=True, slots=True)
class TeamSeason:
    """One team's way through the season, from the trials that count; `sessions` oldest first."""

    team_id: str
    current: Figure
    first_build: Figure
    sessions: tuple[Figure, ...]
    best_seen: BestSeen
    change: Change | None


def counts_for_season(trials: Columns, results: TrialResults) -> npt.NDArray[np.bool_]:
    """Return which trials count: accepted record trials that could be normalised.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        Needs `kind` and `state`.
    results : TrialResults
        Their results.

    Returns
    -------
    array of bool, shape (n,)
        True where a trial counts.
    """
    counted: npt.NDArray[np.bool_] = why_left_out(trials, results) == ""
    return counted


def are_usable(trials: Columns, results: TrialResults) -> npt.NDArray[np.bool_]:
    """Return which trials of whatever kind a finding may rest on: accepted and normalised.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        Needs `state`.
    results : TrialResults
        Their results.

    Returns
    -------
    array of bool, shape (n,)
        True where a trial may be used.
    """
    usable: npt.NDArray[np.bool_] = (np.asarray(trials["state"]) == ACCEPTED) & np.isfinite(
        results.normalised_power_w
    )
    return usable


def typical_figures(
    by: Groups, counted: npt.NDArray[np.bool_], trials: Columns, results: TrialResults
) -> list[Figure]:
    """Return the typical normalised power of each group of counted trials.

    Parameters
    ----------
    by : Groups
        Groups of the counted trials, such as builds or sessions.
    counted : array of bool, shape (n,)
        Which trials the groups are made of.
    trials : mapping of str to array, shape (n,)
        Needs `session_id` and `bench_id`.
    results : TrialResults
        Their results.

    Returns
    -------
    list of Figure
        One per group, in the order of its labels.

    Notes
    -----
    Scatter of runs averages over trials and scatter of sittings over sessions. The exponents are
    the same for all trials of a build and the bench's doubt is the same for all trials at the
    bench, so neither averages out. Where trials lie further apart than their scatter allows, the
    doubt grows by the Birge ratio.

    References
    ----------
    .. [1] Birge, R. T., "The calculation of errors by the method of least squares", Phys. Rev. 40
       (1932) 207-227. [memory]
    """
    ln_power = np.log(results.normalised_power_w[counted])
    mean = by.mean(ln_power)
    u_repeat = results.u_repeat[counted]
    scatter = _excess_scatter(by, ln_power, np.hypot(u_repeat, U_SESSION))
    in_sessions = _pairs(by, group_by(np.asarray(trials["session_id"])[counted]))
    sessions_share = _repeated_share(by, in_sessions)
    u_scatter = scatter * np.hypot(
        np.sqrt(by.sum(u_repeat**2)) / by.count(), U_SESSION * np.sqrt(sessions_share)
    )
    u_own = uncertainty.combine(
        u_scatter,
        by.mean((results.exponent_lever * results.u_wind_exponent)[counted]),
        by.mean((results.ln_density_ratio * results.u_density_exponent)[counted]),
    )
    benches = np.asarray(trials["bench_id"])[counted]
    at_benches = _pairs(by, group_by(benches))
    u_bench = np.sqrt(by.mean(results.u_bench[counted] ** 2) * _repeated_share(by, at_benches))
    u_total = uncertainty.combine(u_own, u_bench)
    u_seen = np.where(scatter > 1, u_scatter, 0.0)
    factor = uncertainty.coverage_factor(u_total, u_seen, by.count() - 1)
    low, high = uncertainty.interval(np.exp(mean), u_total, factor)
    cubic = np.exp(by.mean(np.log(results.normalised_power_cubic_w[counted])))
    sessions, only = _distinct(by, in_sessions), _only_bench(by, at_benches, benches)
    return [
        Figure(
            label=str(by.labels[i]),
            normalised_power_w=math.exp(mean[i]),
            normalised_power_cubic_w=float(cubic[i]),
            u_own=float(u_own[i]),
            u_bench=float(u_bench[i]),
            u_total=float(u_total[i]),
            interval_w=(float(low[i]), float(high[i])),
            trials=int(count),
            sessions=int(sessions[i]),
            bench_id=bench,
        )
        for i, (count, bench) in enumerate(zip(by.count(), only, strict=True))
    ]


def _excess_scatter(by: Groups, ln_power: FloatArray, u: FloatArray) -> FloatArray:
    """Return by how much values scatter more than their uncertainty allows; at least 1 (Birge)."""
    chi_square = by.sum(((ln_power - by.mean(ln_power)[by.codes]) / u) ** 2)
    return np.sqrt(np.maximum(1.0, chi_square / np.maximum(by.count() - 1, 1)))


@dataclass(frozen=True, slots=True)
class _Pairs:
    """The pairs that groups and inner labels form: how often each, and of which group."""

    count: FloatArray
    group: npt.NDArray[np.int64]


def _pairs(by: Groups, inner: Groups) -> _Pairs:
    """Return the pairs of a group and an inner label that rows form."""
    width = max(inner.size, 1)
    pairs = group_by(by.codes * width + inner.codes)
    return _Pairs(pairs.count(), pairs.labels // width)


def _repeated_share(by: Groups, pairs: _Pairs) -> FloatArray:
    """Return the sum of squared shares of each group's inner labels: 1/k for k even ones."""
    return np.bincount(pairs.group, weights=pairs.count**2, minlength=by.size) / by.count() ** 2


def _distinct(by: Groups, pairs: _Pairs) -> FloatArray:
    """Return how many inner labels each group has."""
    return np.bincount(pairs.group, minlength=by.size).astype(np.float64)


def _only_bench(by: Groups, pairs: _Pairs, benches: TextArray) -> list[str | None]:
    """Return the bench of each group, or nothing where it has several."""
    several = _distinct(by, pairs) > 1
    one = np.zeros(by.size, dtype=np.int64)
    one[by.codes] = np.arange(len(by.codes))
    return [
        None if mixed else str(bench)
        for mixed, bench in zip(several.tolist(), benches[one].tolist(), strict=True)
    ]


def probability_ahead(one: Figure, other: Figure) -> float:
    """Return how probably one figure truly lies above another of the same bench.

    Parameters
    ----------
    one, other : Figure
        Two figures of one bench, whose shared doubt drops out.

    Returns
    -------
    float
        Probability, by the normal distribution of the difference of ln power. [-]

    Examples
    --------
    >>> def figure(power_w):
    ...     return Figure("", power_w, power_w, 0.03, 0.14, 0.143, (0, 1), 1, 1, "b")
    >>> round(probability_ahead(figure(0.055), figure(0.05)), 2)
    0.99
    """
    difference = math.log(one.normalised_power_w / other.normalised_power_w)
    u = uncertainty.combine(one.u_own, other.u_own)
    return normal_cdf(difference / u)


def compare(later: Figure, earlier: Figure) -> Change:
    """Return how far a later figure lies above an earlier one of the same team.

    Parameters
    ----------
    later, earlier : Figure
        Two figures; at one bench the bench's doubt is in both and drops out.

    Returns
    -------
    Change
        Difference in percent with its k = 2 interval.

    Examples
    --------
    >>> def figure(power_w, bench_id):
    ...     return Figure("", power_w, power_w, 0.03, 0.14, 0.143, (0, 1), 1, 1, bench_id)
    >>> compare(figure(0.06, "b"), figure(0.05, "b")).interval_pct[0] > 0
    True
    >>> compare(figure(0.06, "b"), figure(0.05, "c")).interval_pct[0] > 0
    False
    """
    difference = math.log(later.normalised_power_w / earlier.normalised_power_w)
    reach = uncertainty.COVERAGE_FACTOR * uncertainty_of_change(later, earlier)
    interval_pct = percent(difference - reach), percent(difference + reach)
    return Change(percent(difference), interval_pct)


def uncertainty_of_change(later: Figure, earlier: Figure) -> float:
    """Return the standard uncertainty of the difference of ln power between two figures.

    Parameters
    ----------
    later, earlier : Figure
        Two figures; at one bench the bench's doubt is in both and drops out.

    Returns
    -------
    float
        Standard uncertainty. [-]

    Examples
    --------
    >>> def figure(bench_id):
    ...     return Figure("", 0.05, 0.05, 0.03, 0.14, 0.143, (0, 1), 1, 1, bench_id)
    >>> round(uncertainty_of_change(figure("b"), figure("b")), 4)
    0.0424
    >>> round(uncertainty_of_change(figure("b"), figure("c")), 4)
    0.2025
    """
    u = uncertainty.combine(later.u_own, earlier.u_own)
    if later.bench_id is None or later.bench_id != earlier.bench_id:
        u = uncertainty.combine(u, later.u_bench, earlier.u_bench)
    return float(u)


def summarise_teams(trials: Columns, results: TrialResults) -> list[TeamSeason]:
    """Return the season of every team that has a trial that counts.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `TRIAL_COLUMNS` and `trial_id`, `team_id`, `turbine_id`, `build_id`, `session_id`,
        `bench_id`, `state`, `build_number` and `started_at` (seconds).
    results : TrialResults
        Their results.

    Returns
    -------
    list of TeamSeason
        In the order of team ids. The current build is the newest one that counts.
    """
    counted = counts_for_season(trials, results)
    if not counted.any():
        return []
    kept = {name: np.asarray(trials[name])[counted] for name in PLACED_BY}
    started: FloatArray = np.asarray(kept["started_at"], dtype=np.float64)

    def in_order(by: Groups, *keys: FloatArray) -> _InOrder:
        order = np.empty(by.size)
        order[np.lexsort(keys[::-1])] = np.arange(by.size)
        return _InOrder(by, typical_figures(by, counted, trials, results), order)

    by_build, by_turbine = group_by(kept["build_id"]), group_by(kept["turbine_id"])
    number: FloatArray = np.asarray(kept["build_number"], dtype=np.float64)
    # A build's number tells its place in its turbine, whenever it was tested; a team's turbines
    # follow each other as they were first tested.
    first_of_turbine = by_turbine.smallest(started)[by_turbine.codes]
    builds = in_order(by_build, by_build.smallest(first_of_turbine), by_build.largest(number))
    by_session = _team_sessions(kept)
    sessions = in_order(by_session, by_session.smallest(started))
    positions = np.flatnonzero(counted)
    return [
        _team_season(team, rows, builds, sessions, _best_seen(positions[rows], trials, results))
        for team, rows in _rows_of_teams(kept["team_id"])
    ]


@dataclass(frozen=True, slots=True)
class _InOrder:
    """Groups with their figures and a number that grows with time."""

    by: Groups
    figures: list[Figure]
    order: FloatArray

    def of(self, rows: npt.NDArray[np.int64]) -> list[Figure]:
        """Return the figures of the groups that some rows belong to, first to last."""
        codes = np.unique(self.by.codes[rows])
        return [self.figures[code] for code in codes[np.argsort(self.order[codes], kind="stable")]]


def _team_sessions(kept: Columns) -> Groups:
    """Return the groups that a team's trials in one session form."""
    teams, sessions = group_by(kept["team_id"]), group_by(kept["session_id"])
    pairs = group_by(teams.codes * sessions.size + sessions.codes)
    return Groups(sessions.labels[pairs.labels % sessions.size], pairs.codes)


def _rows_of_teams(team_ids: TextArray) -> Iterator[tuple[str, npt.NDArray[np.int64]]]:
    """Yield each team with the positions of its trials."""
    teams = group_by(team_ids)
    order = np.argsort(teams.codes, kind="stable")
    ends = np.cumsum(teams.count()).astype(np.int64)
    for team, rows in zip(teams.labels, np.split(order, ends[:-1]), strict=True):
        yield str(team), rows


def _best_seen(
    positions: npt.NDArray[np.int64], trials: Columns, results: TrialResults
) -> BestSeen:
    """Return the largest of some trials."""
    best = positions[np.argmax(results.normalised_power_w[positions])]
    return BestSeen(
        normalised_power_w=float(results.normalised_power_w[best]),
        u_total=float(results.u_total[best]),
        interval_w=(float(results.interval_low_w[best]), float(results.interval_high_w[best])),
        trial_id=str(np.asarray(trials["trial_id"])[best]),
        build_id=str(np.asarray(trials["build_id"])[best]),
        trials=len(positions),
    )


def _team_season(
    team_id: str,
    rows: npt.NDArray[np.int64],
    builds: _InOrder,
    sessions: _InOrder,
    best_seen: BestSeen,
) -> TeamSeason:
    """Return one team's season from the figures of its builds and sessions."""
    in_builds, in_sessions = builds.of(rows), sessions.of(rows)
    return TeamSeason(
        team_id=team_id,
        current=in_builds[-1],
        first_build=in_builds[0],
        sessions=tuple(in_sessions),
        best_seen=best_seen,
        change=compare(in_builds[-1], in_builds[0]) if len(in_builds) > 1 else None,
    )


#: Why a stored trial does not count, by code.
LEFT_OUT = {
    "withdrawn": "withdrawn by whoever submitted them",
    "held": "waiting for an answer to a data check",
    "other_kind": "sweeps, reference, visit, event or open-circuit runs, not record trials",
    "out_of_range": "measured in wind too far from the season's reference to be put on it fairly",
    "not_normalised": "without a known wind speed or power",
}


def why_left_out(trials: Columns, results: TrialResults) -> TextArray:
    """Return why each trial does not count.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        Needs `kind` and `state`.
    results : TrialResults
        Their results.

    Returns
    -------
    array of str, shape (n,)
        A code of `LEFT_OUT`, empty where the trial counts.
    """
    state = np.asarray(trials["state"])
    return np.select(
        [
            state == "withdrawn",
            state == "held",
            np.asarray(trials["kind"]) != RECORD,
            results.normalisation == OUT_OF_RANGE,
            ~np.isfinite(results.normalised_power_w),
        ],
        list(LEFT_OUT),
        "",
    )

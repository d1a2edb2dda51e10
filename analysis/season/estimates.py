"""Estimate the typical power of builds and sessions with its uncertainty, and compare two.

Typical is the mean of ln P over the record trials that count.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import uncertainty
from analysis.columns import Columns, FloatArray, TextArray
from analysis.numeric.distributions import normal_cdf
from analysis.numeric.groups import Groups, Pairs, group_by, pair_up
from analysis.numeric.lazy import LazySequence
from analysis.trials.results import U_SESSION, PowerResults
from analysis.uncertainty import percent


@dataclass(frozen=True, slots=True)
class Figure:
    """A normalised power with its uncertainty and what it is based on."""

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
class Figures(LazySequence[Figure]):
    """Figures as columns, one value per group; each figure is built on access."""

    labels: TextArray
    normalised_power_w: FloatArray
    normalised_power_cubic_w: FloatArray
    u_own: FloatArray
    u_bench: FloatArray
    u_total: FloatArray
    interval_low_w: FloatArray
    interval_high_w: FloatArray
    trials: FloatArray
    sessions: FloatArray
    bench_ids: TextArray

    def __len__(self) -> int:
        return len(self.labels)

    def item(self, at: int) -> Figure:
        """Return the figure of one group."""
        bench_id = self.bench_ids[at]
        return Figure(
            label=str(self.labels[at]),
            normalised_power_w=float(self.normalised_power_w[at]),
            normalised_power_cubic_w=float(self.normalised_power_cubic_w[at]),
            u_own=float(self.u_own[at]),
            u_bench=float(self.u_bench[at]),
            u_total=float(self.u_total[at]),
            interval_w=(float(self.interval_low_w[at]), float(self.interval_high_w[at])),
            trials=int(self.trials[at]),
            sessions=int(self.sessions[at]),
            bench_id=None if bench_id is None else str(bench_id),
        )


@dataclass(frozen=True, slots=True)
class Change:
    """Difference of a later figure from an earlier one."""

    change_pct: float
    interval_pct: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Places:
    """The trials that count, grouped by session and by bench; a session is at one bench."""

    counted: npt.NDArray[np.bool_]
    sessions: Groups
    benches: Groups


def places(counted: npt.NDArray[np.bool_], trials: Columns) -> Places:
    """Return the sessions and benches of the trials that count.

    Parameters
    ----------
    counted : array of bool, shape (n,)
        Mask of the trials that count.
    trials : mapping of str to array, shape (n,)
        Needs `session_id` and `bench_id`.

    Returns
    -------
    Places
        Groups of the counted trials.
    """
    positions = np.flatnonzero(counted)
    sessions = group_by(np.asarray(trials["session_id"])[positions])
    benches = group_by(np.asarray(trials["bench_id"])[positions[sessions.one_of_each()]])
    return Places(counted, sessions, Groups(benches.labels, benches.codes[sessions.codes]))


def typical_figures(by: Groups, where: Places, results: PowerResults) -> Figures:
    """Return the typical normalised power of each group of counted trials.

    Parameters
    ----------
    by : Groups
        Groups of the counted trials, such as builds or sessions.
    where : Places
        Which trials the groups are item of, and where those were run.
    results : PowerResults
        Results of all trials.

    Returns
    -------
    Figures
        One per group, in the order of its labels.

    Notes
    -----
    Scatter of runs averages over trials and scatter of sessions over sessions. The exponents are
    the same for all trials of a build and the bench's uncertainty is the same for all trials at the
    bench, so neither averages out. If trials scatter more than their uncertainty allows, the
    uncertainty grows by the Birge ratio.

    References
    ----------
    .. [1] Birge, R. T., "The calculation of errors by the method of least squares", Phys. Rev. 40
       (1932) 207-227; the ratio as the README of `opg` (overprecision of constants) explains it.
    """
    counted = where.counted
    ln_power = np.log(results.normalised_power_w[counted])
    mean = by.mean(ln_power)
    u_repeat = results.u_repeat[counted]
    scatter = _excess_scatter(by, ln_power, np.hypot(u_repeat, U_SESSION))
    in_sessions = pair_up(by, where.sessions)
    sessions_share = _repeated_share(by, in_sessions)
    u_scatter = scatter * np.hypot(
        np.sqrt(by.sum(u_repeat**2)) / by.count(), U_SESSION * np.sqrt(sessions_share)
    )
    u_own = uncertainty.combine(
        u_scatter,
        by.mean((results.exponent_lever * results.u_wind_exponent)[counted]),
        by.mean((results.ln_density_ratio * results.u_density_exponent)[counted]),
    )
    at_benches = pair_up(by, where.benches)
    u_bench = np.sqrt(by.mean(results.u_bench[counted] ** 2) * _repeated_share(by, at_benches))
    u_total = uncertainty.combine(u_own, u_bench)
    u_seen = np.where(scatter > 1, u_scatter, 0.0)
    factor = uncertainty.coverage_factor(u_total, u_seen, by.count() - 1)
    low, high = uncertainty.interval(np.exp(mean), u_total, factor)
    cubic = np.exp(by.mean(np.log(results.normalised_power_cubic_w[counted])))
    return Figures(
        labels=by.labels,
        normalised_power_w=np.exp(mean),
        normalised_power_cubic_w=cubic,
        u_own=u_own,
        u_bench=u_bench,
        u_total=u_total,
        interval_low_w=low,
        interval_high_w=high,
        trials=by.count(),
        sessions=_distinct(by, in_sessions),
        bench_ids=_only_bench(by, at_benches, where.benches),
    )


def _excess_scatter(by: Groups, ln_power: FloatArray, u: FloatArray) -> FloatArray:
    """Return the ratio of scatter to stated uncertainty, at least 1 (Birge ratio)."""
    chi_square = by.sum(((ln_power - by.mean(ln_power)[by.codes]) / u) ** 2)
    return np.sqrt(np.maximum(1.0, chi_square / np.maximum(by.count() - 1, 1)))


def _repeated_share(by: Groups, pairs: Pairs) -> FloatArray:
    """Return the sum of squared shares of each group's inner labels: 1/k for k even ones."""
    return np.bincount(pairs.one, weights=pairs.count**2, minlength=by.size) / by.count() ** 2


def _distinct(by: Groups, pairs: Pairs) -> FloatArray:
    """Return the number of inner labels of each group."""
    return np.bincount(pairs.one, minlength=by.size).astype(np.float64)


def _only_bench(by: Groups, pairs: Pairs, benches: Groups) -> TextArray:
    """Return the bench of each group, or None if it has several."""
    only = benches.labels[benches.codes[by.one_of_each()]].astype(object)
    only[_distinct(by, pairs) > 1] = None
    return only


def probability_ahead(one: Figure, other: Figure) -> float:
    """Return the probability that one figure is truly above another of the same bench.

    Parameters
    ----------
    one, other : Figure
        Two figures of one bench, whose shared uncertainty cancels.

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
    """Return the change from an earlier to a later figure of the same team.

    Parameters
    ----------
    later, earlier : Figure
        Two figures; at one bench the bench's uncertainty is in both and cancels.

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
        Two figures; at one bench the bench's uncertainty is in both and cancels.

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

"""Estimate how well a season repeats a measurement: in one session, over days, at other benches.

References
----------
.. [1] ISO 5725-1:1994 for repeatability, intermediate precision and reproducibility, and ISO 5725-2
   for the limit of 2.8 standard deviations, as public summaries give them; clauses not checked.
.. [2] Searle, S. R., Casella, G. and McCulloch, C. E., "Variance Components", Wiley (1992), the
   analysis-of-variance method for nested data of unequal numbers. Not opened; each coefficient
   is an expected value, calculated in `_held`.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.errors import InvalidInput
from analysis.numeric.groups import Groups, group_by

LIMIT_FACTOR = 2.8  # [-], 1.96 √2: two results differ by less in 95 % of cases
LEAST_FREEDOM = 5.0  # degrees of freedom, before a standard deviation is shown


@dataclass(frozen=True, slots=True)
class Level:
    """A standard deviation of ln power, None if too little is known of it.

    `degrees_of_freedom` are those of the level itself: of trials in one session, of sessions at
    one bench, of benches of one build.
    """

    standard_deviation: float | None
    degrees_of_freedom: int

    @property
    def limit(self) -> float | None:
        """Return what two results differ by at most, in 95 % of cases, in ln power."""
        if self.standard_deviation is None:
            return None
        return LIMIT_FACTOR * self.standard_deviation


@dataclass(frozen=True, slots=True)
class Precision:
    """The scatter of trials of one build.

    `repeatability` is that in one session, `intermediate` that over the sessions at one bench, and
    `reproducibility` that over benches; each includes the one before.
    """

    repeatability: Level
    intermediate: Level
    reproducibility: Level


def precision_of(
    log_power: npt.ArrayLike,
    build: npt.ArrayLike,
    bench: npt.ArrayLike,
    session: npt.ArrayLike,
) -> Precision:
    """Return the precision of repeated measurements, by a nested analysis of variance.

    Parameters
    ----------
    log_power : array-like, shape (n,)
        ln of normalised power of each trial. [-]
    build, bench, session : array-like, shape (n,)
        What was measured: trials of one build (and setting) are repetitions; where; and when.

    Returns
    -------
    Precision
        A level with fewer than five degrees of freedom is None, and so are those that include it;
        but days can be compared where no session repeats a trial.

    Raises
    ------
    InvalidInput
        If columns differ in length, or a ln power is not finite.

    Notes
    -----
    Sessions of a bench, and builds at a bench, may be unequal in number. A variance that comes out
    below zero is zero.

    Examples
    --------
    >>> y = [0.02, -0.02, 0.10, 0.06] * 6
    >>> sessions = np.repeat(np.arange(12), 2)
    >>> found = precision_of(y, ["rotor"] * 24, ["hall"] * 24, sessions)
    >>> found.repeatability.degrees_of_freedom, round(found.repeatability.standard_deviation, 4)
    (12, 0.0283)
    >>> round(found.intermediate.standard_deviation, 4), found.reproducibility.standard_deviation
    (0.0463, None)
    """
    y = np.asarray(log_power, dtype=np.float64)
    columns = [np.asarray(each) for each in (build, bench, session)]
    if any(len(each) != len(y) for each in columns) or not np.all(np.isfinite(y)):
        raise InvalidInput("precision needs finite ln powers, each with a build, bench and session")
    levels = _nested(columns)
    freedom = np.diff([0, *(len(y) - groups.size for groups in levels)]).tolist()
    # Where hardly a session repeats a trial, sessions are compared by their trials as they are.
    first = 0 if freedom[0] >= LEAST_FREEDOM else 1
    few = (at for at in range(first, len(levels)) if freedom[at] < LEAST_FREEDOM)
    end = next(few, len(levels))
    sums = np.sqrt(np.cumsum(_variances(y, levels[first:end]))).tolist()
    known = [*[None] * first, *sums, *[None] * (len(levels) - end)]
    return Precision(*(Level(sd, count) for sd, count in zip(known, freedom, strict=True)))


def _variances(y: FloatArray, levels: list[Groups]) -> list[float]:
    """Return the variance that each level adds, from its share of the sum of squares."""
    variances: list[float] = []
    before = 0.0, [0.0] * len(levels)
    for at, groups in enumerate(levels):
        inner = [None, *levels[:at]]
        now = _within(y, groups), [_held(each, groups) for each in inner]
        squares = now[0] - before[0]
        *of_inner, own = (wide - tight for wide, tight in zip(now[1], before[1], strict=False))
        explained = sum(v * share for v, share in zip(variances, of_inner, strict=True))
        variances.append(max(0.0, (squares - explained) / own))
        before = now[0], [*now[1], 0.0]
    return variances


def _nested(columns: list[npt.NDArray[np.generic]]) -> list[Groups]:
    """Return the trials of each session, bench and build, each within the wider one."""
    build, bench, session = (group_by(each) for each in columns)
    at_bench = group_by(build.codes * bench.size + bench.codes)
    in_session = group_by(at_bench.codes * session.size + session.codes)
    return [in_session, at_bench, build]


def _within(y: FloatArray, groups: Groups) -> float:
    """Return the sum of squares about the means of groups."""
    return float(np.sum((y - groups.mean(y)[groups.codes]) ** 2))


def _held(inner: Groups | None, outer: Groups) -> float:
    """Return the expected sum of squares within outer groups, for unit variance of inner ones.

    Without inner groups each row has its own value: n less the number of groups. Else each inner
    group of n rows in an outer one of N adds n − n²/N.
    """
    if inner is None:
        return float(len(outer.codes) - outer.size)
    rows = inner.count()
    of_outer = outer.count()[outer.codes[inner.one_of_each()]]
    return float(np.sum(rows - rows**2 / of_outer))


def percent_limit(level: Level) -> float | None:
    """Return how many percent two results of one build differ by at most, in 95 % of cases.

    Parameters
    ----------
    level : Level
        A level of precision.

    Returns
    -------
    float or None
        Percent of the smaller one, None if the level is not known. [%]

    Examples
    --------
    >>> round(percent_limit(Level(0.05, 20)), 1)
    15.0
    """
    return None if level.limit is None else 100 * math.expm1(level.limit)

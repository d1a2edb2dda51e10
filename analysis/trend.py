"""Estimate whether a team's power grows: a robust slope over time, and an exact trend test.

References
----------
.. [1] Sen, P. K., "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat.
   Assoc. 63 (1968) 1379-1389.
.. [2] Mann, H. B., "Nonparametric tests against trend", Econometrica 13 (1945) 245-259; Kendall,
   "Rank Correlation Methods".
"""

import math
from collections import Counter
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, IntArray
from analysis.errors import InvalidInput, TooFewTrials
from analysis.numeric.distributions import normal_cdf, normal_quantile

EXACT_UP_TO = 40  # values; with more, the normal approximation is as good
DEFAULT_CONFIDENCE = 0.90


@dataclass(frozen=True, slots=True)
class Slope:
    """Median slope over all pairs, with an interval from the ranks of the slopes."""

    slope: float
    interval: tuple[float, float]
    confidence: float


@dataclass(frozen=True, slots=True)
class MannKendall:
    """Trend test of values in order: S is the number of rising pairs less that of falling ones."""

    s: int
    p_one_sided: float


def theil_sen(
    weeks: npt.ArrayLike, values: npt.ArrayLike, confidence: float = DEFAULT_CONFIDENCE
) -> Slope:
    """Return the Theil–Sen slope of values over time.

    Parameters
    ----------
    weeks : array-like, shape (n,)
        Times, at least two different ones. [weeks, or any]
    values : array-like, shape (n,)
        Values; ln of power for growth in percent. [any]
    confidence : float, optional
        Confidence of the interval, two-sided. [-]

    Returns
    -------
    Slope
        Median of the slopes of all pairs, and its limits. [value per week]

    Raises
    ------
    TooFewTrials
        Without two different times.
    InvalidInput
        With values that are not finite, or lists of different length.

    Notes
    -----
    The limits are slopes at rounded ranks, with Kendall's variance for ties of the values.

    Examples
    --------
    >>> theil_sen([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78]).slope
    4.0
    """
    x, y = _checked(weeks, values)
    (estimate,) = theil_sen_rows(x[None, :], y[None, :], confidence)
    if estimate is None:
        raise TooFewTrials("a slope needs two different times")
    if not all(map(math.isfinite, (estimate.slope, *estimate.interval))):
        raise InvalidInput("values this far apart, or times this close, give no slope")
    return estimate


def theil_sen_rows(
    weeks: FloatArray, values: FloatArray, confidence: float = DEFAULT_CONFIDENCE
) -> list[Slope | None]:
    """Return the Theil–Sen slopes of many series of one length.

    Parameters
    ----------
    weeks, values : array, shape (k, n)
        Times and values of each series, all finite. [weeks], [any]
    confidence : float, optional
        Confidence of the intervals, two-sided. [-]

    Returns
    -------
    list of Slope or None, length k
        Results of `theil_sen`; None for a series without two different times.

    Examples
    --------
    >>> week = np.array([[1, 2, 3, 4, 10, 12, 18.0]])
    >>> [one] = theil_sen_rows(week, np.array([[9, 15, 19, 20, 45, 55, 78.0]]))
    >>> one.slope
    4.0
    """
    slopes, counts = _sorted_slopes(weeks, values)
    quantile, estimates = normal_quantile((1 + confidence) / 2), list[Slope | None]()
    for row, count, variance in zip(slopes, counts.tolist(), _variances(values), strict=True):
        margin = quantile * math.sqrt(variance)
        low = max(round((count - margin) / 2) - 1, 0)
        high = min(round((count + margin) / 2), count - 1)
        with np.errstate(invalid="ignore"):  # of times so close that slopes are infinite
            middle = (row[(count - 1) // 2] + row[count // 2]) / 2 if count else math.nan
        limits = (float(row[low]), float(row[high])) if count else (math.nan, math.nan)
        estimates.append(Slope(float(middle), limits, confidence) if count else None)
    return estimates


def _sorted_slopes(x: FloatArray, y: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return each row's sorted slopes of pairs, and the number of pairs with different times."""
    one, other = _pairs(x.shape[1])
    with np.errstate(all="ignore"):
        run = x[:, other] - x[:, one]
        slopes = (y[:, other] - y[:, one]) / run
    counts = np.count_nonzero(run, axis=1)
    slopes[run == 0] = np.inf  # sorted last, and not counted
    return np.sort(slopes, axis=1), counts


def _pairs(count: int) -> tuple[IntArray, IntArray]:
    """Return the positions of the earlier and of the later value of every pair."""
    return _few_pairs(count) if count <= EXACT_UP_TO else np.triu_indices(count, 1)


@lru_cache(maxsize=EXACT_UP_TO)  # as many sessions as most teams have
def _few_pairs(count: int) -> tuple[IntArray, IntArray]:
    return np.triu_indices(count, 1)


def _checked(weeks: npt.ArrayLike, values: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
    x, y = np.asarray(weeks, dtype=float), np.asarray(values, dtype=float)
    if x.shape != y.shape or not (np.all(np.isfinite(x)) and np.all(np.isfinite(y))):
        raise InvalidInput("a trend needs as many finite values as times")
    return x, y


def mann_kendall(values: npt.ArrayLike) -> MannKendall:
    """Return the Mann–Kendall test of rising values, exact also with ties up to 40 values.

    Parameters
    ----------
    values : array-like, shape (n,)
        Values in the order of time. [any]

    Returns
    -------
    MannKendall
        S, and the probability of an S at least as large without any trend.

    Raises
    ------
    TooFewTrials
        With fewer than two values.
    InvalidInput
        With a value that is not finite.

    Notes
    -----
    Without a trend every order of the values is equally likely, so S is distributed like the
    number of inversions of a multiset, whose generating function is the Gaussian multinomial
    coefficient. Beyond 40 values the normal approximation with continuity correction is used.

    Examples
    --------
    >>> test = mann_kendall([1.0, 1.1, 1.3, 1.2, 1.4])
    >>> test.s, round(test.p_one_sided, 4)
    (8, 0.0417)
    """
    y = np.asarray(values, dtype=float)
    if y.size < 2:
        raise TooFewTrials(f"a trend needs two values, got {y.size}")
    if not np.all(np.isfinite(y)):
        raise InvalidInput("a trend needs finite values")
    one, other = _pairs(y.size)
    s = int(np.sign(y[other] - y[one]).sum())
    return MannKendall(s, _exact(y, s) if y.size <= EXACT_UP_TO else _approximate(y, s))


def _exact(y: FloatArray, s: int) -> float:
    """Return P(S' >= s) over all orders of the values."""
    counts = _inversions(tuple(sorted(Counter(y.tolist()).values())))
    pairs = len(counts) - 1  # pairs of different values; S = pairs - 2 inversions
    return sum(counts[: (pairs - s) // 2 + 1]) / sum(counts)


@lru_cache(maxsize=256)
def _inversions(group_sizes: tuple[int, ...]) -> list[int]:
    """Return how many orders of a multiset have 0, 1, 2, … inversions."""
    total, counts = 0, [1]
    for size in group_sizes:
        counts = _multiply(counts, _gaussian_binomial(total + size, size))
        total += size
    return counts


def _gaussian_binomial(n: int, k: int) -> list[int]:
    """Return the coefficients of the Gaussian binomial, by its Pascal rule row by row."""
    row: list[list[int]] = [[1]]
    for m in range(1, n + 1):
        grown = [[1]]
        for j in range(1, min(m, k) + 1):
            shifted = [0] * j + (row[j] if j < len(row) else [])
            grown.append(_add(row[j - 1], shifted if j < len(row) else []))
        row = grown
    return row[k]


def _add(one: list[int], other: list[int]) -> list[int]:
    longer, shorter = (one, other) if len(one) >= len(other) else (other, one)
    return [a + (shorter[i] if i < len(shorter) else 0) for i, a in enumerate(longer)]


def _multiply(one: list[int], other: list[int]) -> list[int]:
    product = [0] * (len(one) + len(other) - 1)
    for i, a in enumerate(one):
        for j, b in enumerate(other):
            product[i + j] += a * b
    return product


def _variances(values: FloatArray) -> list[float]:
    """Return the variance of S of each row; all rows without ties share one value."""
    in_order = np.sort(values, axis=1)
    has_ties = np.any(in_order[:, 1:] == in_order[:, :-1], axis=1)
    n = values.shape[1]
    return [_variance(row) if ties else _variance_times_18(n) / 18
            for row, ties in zip(values, has_ties.tolist(), strict=True)]  # fmt: skip


def _variance_times_18(n: int) -> int:
    """Return 18 times the variance of S of n values without ties; a tie of n takes off as much."""
    return n * (n - 1) * (2 * n + 5)


def _variance(y: FloatArray) -> float:
    """Return the variance of S without trend, with Kendall's correction for ties."""
    n = y.size
    counts = Counter(y.tolist())
    ties = sum(map(_variance_times_18, counts.values())) if len(counts) < n else 0
    return (_variance_times_18(n) - ties) / 18


def _approximate(y: FloatArray, s: int) -> float:
    variance = _variance(y)
    return normal_cdf(-(s - 1) / math.sqrt(variance)) if variance > 0 else 1.0


@lru_cache(maxsize=256)
def expected_maximum(count: int) -> float:
    """Return the expected largest of several independent standard normal results.

    Parameters
    ----------
    count : int
        Number of results, at least 1. [-]

    Returns
    -------
    float
        Standard deviations. [-]

    Notes
    -----
    E[max] = ∫ x k φ(x) Φ(x)^(k-1) dx, by the trapezoid rule on a fine grid.

    Examples
    --------
    >>> [round(expected_maximum(k), 2) for k in (1, 2, 3, 5, 8, 20)]
    [0.0, 0.56, 0.85, 1.16, 1.42, 1.87]
    """
    if count < 1:
        raise InvalidInput(f"the largest of {count} results does not exist")
    x = np.linspace(-9, 9, 4001)
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    below = np.array([normal_cdf(each) for each in x])
    return float(np.trapezoid(x * count * density * below ** (count - 1), x))


def debias_best(best: float, count: int, u: float) -> float:
    """Return the largest of several results, corrected for the bias of picking the largest.

    Parameters
    ----------
    best : float
        Largest power of equal trials. [W]
    count : int
        Number of trials of which it is the largest. [-]
    u : float
        Scatter of one trial of ln power. [-]

    Returns
    -------
    float
        Corrected power. [W]

    Examples
    --------
    >>> round(debias_best(0.0575, 8, 0.10), 4)
    0.0499
    """
    return best * math.exp(-expected_maximum(count) * u)

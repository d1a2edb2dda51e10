"""Calculate sums, means and extremes of groups of rows, without loops over the groups."""

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, IntArray, TextArray


@dataclass(frozen=True)
class Groups:
    """Groups of rows: the label of each group, and the position of each row's group.

    Examples
    --------
    >>> teams = group_by(np.array(["b", "a", "b"]))
    >>> teams.labels.tolist(), teams.mean(np.array([1.0, 5.0, 3.0])).tolist()
    (['a', 'b'], [5.0, 2.0])
    """

    labels: TextArray
    codes: IntArray

    @property
    def size(self) -> int:
        """Return the number of groups."""
        return len(self.labels)

    def one_of_each(self) -> IntArray:
        """Return the first row of each group."""
        one = np.zeros(self.size, dtype=np.int64)
        one[self.codes[::-1]] = np.arange(len(self.codes))[::-1]
        return one

    def first_largest(self, values: FloatArray) -> IntArray:
        """Return the first row of each group that holds its largest value."""
        at = np.flatnonzero(values == self.largest(values)[self.codes])
        first = np.zeros(self.size, dtype=np.int64)
        first[self.codes[at[::-1]]] = at[::-1]
        return first

    def count(self) -> FloatArray:
        """Return the number of rows in each group."""
        return self._count

    @cached_property
    def _count(self) -> FloatArray:
        counts = np.bincount(self.codes, minlength=self.size).astype(np.float64)
        counts.setflags(write=False)  # all callers share this array
        return counts

    def sum(self, values: FloatArray) -> FloatArray:
        """Return the sum of each group."""
        sums = np.bincount(self.codes, weights=values, minlength=self.size)
        return sums.astype(np.float64, copy=False)  # without rows, bincount returns integers

    def mean(self, values: FloatArray) -> FloatArray:
        """Return the mean of each group; NaN where a group has no rows."""
        with np.errstate(invalid="ignore", divide="ignore"):
            return self.sum(values) / self.count()

    def standard_deviation(self, values: FloatArray) -> FloatArray:
        """Return the sample standard deviation of each group; 0 for one row or none."""
        spare = self.count() - 1
        with np.errstate(invalid="ignore", divide="ignore"):
            squares = self.sum((values - self.mean(values)[self.codes]) ** 2)
            return np.where(spare > 0, np.sqrt(squares / spare), 0.0)

    def known_mean(self, values: FloatArray) -> FloatArray:
        """Return the mean of each group's known values; NaN where none is known."""
        is_known = np.isfinite(values)
        if not is_known.any():
            return np.full(self.size, np.nan)
        with np.errstate(invalid="ignore", divide="ignore"):
            return self.sum(np.where(is_known, values, 0)) / self.sum(is_known.astype(float))

    def largest(self, values: FloatArray) -> FloatArray:
        """Return the largest value of each group; minus infinity where a group has no rows."""
        top = np.full(self.size, -np.inf)
        np.maximum.at(top, self.codes, values)
        return top

    def smallest(self, values: FloatArray) -> FloatArray:
        """Return the smallest value of each group; infinity where a group has no rows."""
        return -self.largest(-values)


@dataclass(frozen=True, slots=True)
class Pairs:
    """Pairs of groups from two groupings: rows of each pair, its groups, and each row's pair."""

    count: FloatArray
    one: IntArray
    other: IntArray
    codes: IntArray


def pair_up(one: Groups, other: Groups) -> Pairs:
    """Return the pairs of groups to which rows belong, in sorted order.

    Parameters
    ----------
    one, other : Groups
        Two groupings of the same n rows.

    Returns
    -------
    Pairs
        For each pair, its number of rows and its two groups; for each row, its pair.

    Examples
    --------
    >>> teams, days = group_by(np.array(["b", "a", "b"])), group_by(np.array([1, 1, 2]))
    >>> pairs = pair_up(teams, days)
    >>> pairs.one.tolist(), pairs.other.tolist(), pairs.codes.tolist()
    ([0, 1, 1], [0, 0, 1], [1, 0, 2])
    """
    width = max(other.size, 1)
    pairs = group_by(one.codes * width + other.codes)
    return Pairs(pairs.count(), pairs.labels // width, pairs.labels % width, pairs.codes)


def group_by(keys: TextArray) -> Groups:
    """Return the groups that equal keys form.

    Parameters
    ----------
    keys : array, shape (n,)
        One label per row.

    Returns
    -------
    Groups
        Sorted labels, and each row's position among them.

    Examples
    --------
    >>> group_by(np.array(["b", "a", "b"])).codes.tolist()
    [1, 0, 1]
    """
    starts, lengths = _runs(keys)
    labels, codes = _distinct(keys[starts])
    return Groups(labels, np.repeat(codes, lengths))


def _runs(keys: TextArray) -> tuple[IntArray, IntArray]:
    """Return start and length of runs of equal keys, so that fewer rows need to be compared."""
    starts = np.flatnonzero(np.append(True, keys[1:] != keys[:-1])[: len(keys)])
    return starts, np.diff(starts, append=len(keys))


def are_among(words: TextArray, wanted: Collection[str]) -> npt.NDArray[np.bool_]:
    """Return a mask of the words that are in a collection.

    Parameters
    ----------
    words : array of str, shape (n,)
        Words, few of them different.
    wanted : collection of str
        Words to look for.

    Returns
    -------
    array of bool, shape (n,)
        True where a word is in the collection.

    Examples
    --------
    >>> are_among(np.array(["load", "pitch", "load"]), {"load"}).tolist()
    [True, False, True]
    """
    starts, lengths = _runs(words)
    return np.repeat([word in wanted for word in words[starts].tolist()], lengths).astype(bool)


def _distinct(keys: TextArray) -> tuple[TextArray, IntArray]:
    """Return labels and codes; look words up, because sorting a million takes seconds."""
    if keys.dtype.kind not in "OU":
        labels, codes = np.unique(keys, return_inverse=True)
        return labels, codes
    words = keys.tolist()
    different = sorted(set(words))
    position = {word: at for at, word in enumerate(different)}
    codes = np.fromiter(map(position.__getitem__, words), np.int64, len(words))
    return np.array(different, dtype=keys.dtype), codes

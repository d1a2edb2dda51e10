"""Assemble a block-diagonal matrix, and invert it block by block."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.columns import FloatArray, IntArray
from analysis.errors import InvalidInput


class Blocks:
    """Positions of the entries of square diagonal blocks, stored one after the other.

    Parameters
    ----------
    ends : array of int, shape (k,)
        End of each block.
    columns : array of int, shape (n, c)
        The unknowns of each row; what is negative, or behind the last block, is in none. Those of
        one row are of one block.
    values : array, shape (n, c)
        How much of each of its unknowns a row has. [-]

    Examples
    --------
    >>> blocks = Blocks(np.array([2, 3]), np.array([[0, 1], [1, -1], [2, 3]]), np.ones((3, 2)))
    >>> inverted = blocks.inverted(np.array([1.0, 2.0, 4.0]), np.ones(3))
    >>> inverted.inverse.toarray().round(3).tolist()
    [[0.571, -0.143, 0.0], [-0.143, 0.286, 0.0], [0.0, 0.0, 0.2]]
    >>> round(float(np.exp(inverted.log_determinant)), 6)
    35.0
    """

    def __init__(self, ends: IntArray, columns: IntArray, values: FloatArray) -> None:
        self._starts = np.concatenate([[0], ends[:-1]]).astype(np.int64)
        self._widths = ends - self._starts
        self._cuts = np.concatenate([[0], np.cumsum(self._widths**2)])
        self._row, self._entry, self._product = self._lower(columns, values)
        widths = np.repeat(self._widths, self._widths)
        self._ends_of_rows = np.concatenate([[0], np.cumsum(widths)])
        first = np.repeat(np.repeat(self._starts, self._widths), widths)
        self._columns = first + _counted(widths)

    def _lower(
        self, columns: IntArray, values: FloatArray
    ) -> tuple[IntArray, IntArray, FloatArray]:
        """Return the row that each entry of the lower triangles is from, its place and product."""
        rows, entries, products = [], [], []
        last = self._starts[-1] + self._widths[-1]
        for one, of_one in zip(columns.T, values.T, strict=True):
            for other, of_other in zip(columns.T, values.T, strict=True):
                at = np.flatnonzero((other >= 0) & (one >= other) & (one < last))
                block = np.searchsorted(self._starts, one[at], side="right") - 1
                start, width = self._starts[block], self._widths[block]
                rows.append(at)
                entries.append(self._cuts[block] + (one[at] - start) * width + (other[at] - start))
                products.append(of_one[at] * of_other[at])
        return np.concatenate(rows), np.concatenate(entries), np.concatenate(products)

    def inverted(self, weight: FloatArray, diagonal: FloatArray) -> "Inverted":
        """Return Σ weight·xxᵀ + diagonal with its inverse; x has the values of a row.

        Raises `InvalidInput` if rounding leaves no positive definite matrix.
        """
        from scipy.linalg.lapack import dpotrf, dpotri

        entries: FloatArray = np.bincount(
            self._entry, weight[self._row] * self._product, minlength=self._cuts[-1]
        ).astype(np.float64)
        inverse, log_determinant = np.empty_like(entries), 0.0
        for start, width, cut in zip(self._starts, self._widths, self._cuts, strict=False):
            here = slice(cut, cut + width**2)
            block = entries[here].reshape(width, width)
            block.flat[:: width + 1] += diagonal[start : start + width]
            factor, failed = dpotrf(block, lower=True)
            if failed:
                raise InvalidInput("uncertainties this far apart cannot be weighed with each other")
            log_determinant += 2 * float(np.log(factor.diagonal()).sum())
            _mirror(block, block)
            _mirror(inverse[here].reshape(width, width), dpotri(factor, lower=True)[0])
        return Inverted(self._matrix(entries), self._matrix(inverse), log_determinant)

    def _matrix(self, entries: FloatArray) -> Any:
        from scipy.sparse import csr_array

        size = len(self._ends_of_rows) - 1
        return csr_array((entries, self._columns, self._ends_of_rows), shape=(size, size))


@dataclass(frozen=True, slots=True)
class Inverted:
    """A matrix of blocks, its inverse, and the logarithm of its determinant."""

    matrix: Any
    inverse: Any
    log_determinant: float

    def solve(self, right: Any) -> Any:
        """Return the solution for a right-hand side; refined once, as accurate as elimination."""
        solution = self.inverse @ right
        return solution + self.inverse @ (right - self.matrix @ solution)


def _mirror(into: FloatArray, lower: FloatArray) -> None:
    """Fill a square with a lower triangle, zeros above it, and its mirror image."""
    into[:] = lower + lower.T
    into.flat[:: len(into) + 1] /= 2


def _counted(lengths: IntArray) -> IntArray:
    """Return 0, 1, 2, … up to each length, one sequence after the other."""
    before = np.cumsum(lengths) - lengths
    return np.arange(int(lengths.sum())) - np.repeat(before, lengths)

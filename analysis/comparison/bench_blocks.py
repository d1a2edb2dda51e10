"""Eliminate a bench's own unknowns from the season's equations, as one dense block.

References
----------
.. [1] Henderson, H. V., Searle, S. R., "On deriving the inverse of a sum of matrices", SIAM Rev. 23
   (1981) 53-60; the identity also in mathlib, "2×2 block matrices and the Schur complement".
"""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from analysis.columns import FloatArray, IntArray
from analysis.comparison.design import NOWHERE, BenchCells
from analysis.errors import InvalidInput
from analysis.numeric.cholesky import inverse_of, log_determinant_of


@dataclass(eq=False)
class BenchBlock:
    """A bench's equations after its own unknowns are eliminated.

    With A the equations of its w own unknowns and B their coupling to the m shared unknowns that it
    has: `lower` is the Cholesky factor of A, `pull` is A⁻¹B, and `left` is what remains for the
    shared unknowns, D − BᵀA⁻¹B.
    """

    cells: BenchCells
    #: Weight of each cell, and prior precision of each own unknown.
    weight: FloatArray
    prior: FloatArray
    #: The shared unknowns of the bench, numbered over the season.
    shared: IntArray
    lower: FloatArray
    pull: FloatArray
    left: FloatArray
    #: The right-hand side that was solved last, with its results.
    _solved: tuple[FloatArray, FloatArray, FloatArray] | None = field(default=None, repr=False)

    def is_of(self, cells: BenchCells, weight: FloatArray, prior: FloatArray) -> bool:
        """Tell whether this is the block of the same equations."""
        return (
            np.array_equal(self.weight, weight)
            and np.array_equal(self.prior, prior)
            and np.array_equal(self.cells.columns, cells.columns)
            and np.array_equal(self.cells.values, cells.values)
        )

    @property
    def log_determinant(self) -> float:
        """Return ln of the determinant of the own unknowns' equations."""
        return log_determinant_of(self.lower)

    @cached_property
    def inverse(self) -> FloatArray:
        """Return the inverse of the own unknowns' equations."""
        return inverse_of(self.lower)

    def solve(self, right: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the own unknowns if all shared ones were 0, and rᵀA⁻¹B, for a right-hand side r.

        The last one is remembered: a season is solved again and again, few benches differ.
        """
        from scipy.linalg.lapack import dpotrs

        known = self._solved
        if known is None or not np.array_equal(known[0], right):
            known = right.copy(), dpotrs(self.lower, right, lower=True)[0], right @ self.pull
            self._solved = known
        return known[1], known[2]

    @cached_property
    def places(self) -> tuple[IntArray, IntArray]:
        """Return the row and the column in the border of each entry of `left`."""
        count = len(self.shared)
        return np.repeat(self.shared, count), np.concatenate([self.shared] * count)

    @cached_property
    def _cell_parts(self) -> tuple[FloatArray, FloatArray]:
        """Return the own unknowns' part of each cell's variance, and its shared unknowns' rows."""
        width, count = len(self.prior), len(self.shared)
        written = np.zeros((len(self.weight), width + count + 1))
        at = _numbered(self.cells.columns, self.shared, width)
        np.put_along_axis(written, at, self.cells.values, axis=1)
        own = written[:, :width]
        return np.sum((own @ self.inverse) * own, axis=1), written[:, width:-1] - own @ self.pull

    def cell_variances(self, of_shared: FloatArray) -> FloatArray:
        """Return the variance of each cell's fit, given the covariance of all shared unknowns."""
        at_home, rows = self._cell_parts
        variances: FloatArray = at_home + np.sum(
            (rows @ of_shared[np.ix_(self.shared, self.shared)]) * rows, axis=1
        )
        return variances


def eliminated(cells: BenchCells, weight: FloatArray, prior: FloatArray) -> BenchBlock:
    """Return a bench's block.

    Parameters
    ----------
    cells : BenchCells
        How much of which unknowns each of the bench's n cells has.
    weight : array, shape (n,)
        Weight of each cell. [-]
    prior : array, shape (w,)
        Prior precision of each of the bench's own unknowns. [-]

    Returns
    -------
    BenchBlock
        The factorised equations of the own unknowns, and what is left for the shared ones.

    Raises
    ------
    InvalidInput
        If rounding leaves no positive definite matrix.

    Examples
    --------
    >>> cells = BenchCells(np.array([[0, -2], [0, -1]]), np.ones((2, 2)))
    >>> block = eliminated(cells, np.array([2.0, 1.0]), np.array([1.0]))
    >>> block.shared.tolist(), block.inverse.tolist(), block.pull.tolist(), block.left.tolist()
    ([0], [[0.25]], [[0.5]], [[1.0]])
    """
    from scipy.linalg.lapack import dpotrf, dpotrs

    shared = np.unique(NOWHERE - 1 - cells.columns[cells.columns < NOWHERE])
    width = len(prior)
    matrix = _equations(cells, weight, shared, width)
    own, coupling = matrix[:width, :width], matrix[:width, width:]
    own[np.arange(width), np.arange(width)] += prior
    lower, failed = dpotrf(own, lower=True)
    if failed:
        raise InvalidInput("uncertainties this far apart cannot be weighed with each other")
    pull = dpotrs(lower, coupling, lower=True)[0]
    left = matrix[width:, width:] - coupling.T @ pull
    # Copies: a block outlives the columns of the season that it was cut from.
    own_cells = BenchCells(cells.columns.copy(), cells.values.copy())
    return BenchBlock(own_cells, weight.copy(), prior.copy(), shared, lower, pull, left)


def _equations(cells: BenchCells, weight: FloatArray, shared: IntArray, width: int) -> FloatArray:
    """Return Σ weight·xxᵀ over the cells, the own unknowns first; x has the values of a cell."""
    at = _numbered(cells.columns, shared, width)
    size = width + len(shared) + 1  # the last one is nowhere
    products = (weight[:, None] * cells.values)[:, :, None] * cells.values[:, None, :]
    places = at[:, :, None] * size + at[:, None, :]
    sums = np.bincount(places.ravel(), products.ravel(), minlength=size**2)
    matrix: FloatArray = sums.astype(np.float64, copy=False).reshape(size, size)[:-1, :-1]
    return matrix


def _numbered(columns: IntArray, shared: IntArray, width: int) -> IntArray:
    """Return the unknowns of cells with the shared ones numbered after the bench's own."""
    of_shared = width + np.searchsorted(shared, NOWHERE - 1 - columns)
    return np.where(
        columns >= 0, columns, np.where(columns < NOWHERE, of_shared, width + len(shared))
    )

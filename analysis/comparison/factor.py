"""The season model's equations without and with priors, and what is asked of their inverse.

A season of a few schools is one small matrix. Of a large one almost all is in a block for each
bench: with A these blocks, B what ties them to the shared unknowns and D the latter's own
equations, all that is asked of the inverse follows from each block's inverse and from the
factorised border D − BᵀA⁻¹B [1]_.

References
----------
.. [1] Henderson, H. V., Searle, S. R., "On deriving the inverse of a sum of matrices", SIAM Rev. 23
   (1981) 53-60; the identity also in mathlib, "2×2 block matrices and the Schur complement".
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np

from analysis.columns import FloatArray
from analysis.comparison.block_inverse import Inverted
from analysis.comparison.design import Model
from analysis.errors import InvalidInput

#: Up to so many unknowns one matrix is quicker than blocks, which are many small steps.
WHOLE_UP_TO = 250


class Factor(Protocol):
    """Equations that were factorised: what is asked of their inverse."""

    @property
    def log_determinant(self) -> float:
        """Return ln of the determinant of the equations."""

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the unknowns that the equations take to `right`."""

    def covariance(self, rows: Any) -> FloatArray:
        """Return the covariance of some sums of unknowns, a sparse row each."""

    def variances(self, rows: Any) -> FloatArray:
        """Return the variance of each of some sums of unknowns."""

    def diagonal(self) -> FloatArray:
        """Return the variance of each unknown."""


class Equations(Protocol):
    """What weighed trials ask of the unknowns, without any prior."""

    def factorised(self, scale: float, prior: FloatArray) -> Factor:
        """Return the equations times `scale`, with the priors' precisions, factorised.

        Raises `InvalidInput` where rounding leaves no positive definite matrix.
        """


def equations(model: Model, of_cell: FloatArray) -> Equations:
    """Return what trials ask of a model's unknowns, by the weight of each cell."""
    if model.size <= WHOLE_UP_TO:
        return _Whole(model, of_cell)
    return _Bordered(model, of_cell)


def _weighed(rows: Any, of_cell: FloatArray) -> Any:
    """Return rows of cells, each times its weight, turned."""
    from scipy.sparse import diags_array

    return rows.T @ diags_array(of_cell)


class _Whole:
    """The equations as one matrix."""

    def __init__(self, model: Model, of_cell: FloatArray) -> None:
        self._matrix: FloatArray = (_weighed(model.design, of_cell) @ model.design).toarray()

    def factorised(self, scale: float, prior: FloatArray) -> "_WholeFactor":
        """Return the equations with the priors' precisions, factorised."""
        from scipy.linalg.lapack import dpotrf

        matrix = scale * self._matrix
        matrix.flat[:: len(matrix) + 1] += prior
        lower, failed = dpotrf(matrix, lower=True)
        if failed:
            raise InvalidInput("uncertainties this far apart cannot be weighed with each other")
        return _WholeFactor(lower)


@dataclass(frozen=True)
class _WholeFactor:
    """One matrix by its lower triangular root."""

    lower: FloatArray

    @cached_property
    def log_determinant(self) -> float:
        """Return ln of the determinant of the equations."""
        return 2 * float(np.log(self.lower.diagonal()).sum())

    @cached_property
    def inverse(self) -> FloatArray:
        """Return the inverse."""
        from scipy.linalg.lapack import dpotri

        half = np.tril(dpotri(self.lower, lower=True)[0])
        whole: FloatArray = half + half.T
        whole.flat[:: len(whole) + 1] /= 2
        return whole

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the unknowns that the equations take to `right`."""
        from scipy.linalg.lapack import dpotrs

        solved: FloatArray = dpotrs(self.lower, right, lower=True)[0]
        return solved

    def covariance(self, rows: Any) -> FloatArray:
        """Return the covariance of some sums of unknowns, a sparse row each."""
        covariance: FloatArray = rows @ (rows @ self.inverse).T
        return covariance

    def variances(self, rows: Any) -> FloatArray:
        """Return the variance of each of some sums of unknowns."""
        variances: FloatArray = (rows * (rows @ self.inverse)).sum(axis=1)
        return variances

    def diagonal(self) -> FloatArray:
        """Return the variance of each unknown."""
        return self.inverse.diagonal()


class _Bordered:
    """The equations as a block for each bench, what ties them, and the shared unknowns' own."""

    def __init__(self, model: Model, of_cell: FloatArray) -> None:
        self._model, self._of_cell = model, of_cell
        weighed = _weighed(model.design_shared, of_cell)
        self._tie = (weighed @ model.design_at_home).T.tocsr()
        self._shared = weighed @ model.design_shared

    def factorised(self, scale: float, prior: FloatArray) -> "_BorderedFactor":
        """Return the equations with the priors' precisions, factorised."""
        from scipy.sparse import diags_array
        from scipy.sparse.linalg import splu

        local = self._model.local
        home = self._model.blocks.inverted(scale * self._of_cell, prior[:local])
        tie = scale * self._tie
        pull = home.solve(tie).tocsr()
        border = scale * self._shared + diags_array(prior[local:]) - tie.T @ pull
        factor = splu(border.tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        return _BorderedFactor(home, tie, pull, factor)


@dataclass(frozen=True)
class _BorderedFactor:
    """Blocks by their inverses, and the border that is left once they are eliminated."""

    home: Inverted
    tie: Any
    #: A⁻¹B: what the shared unknowns pull at home.
    pull: Any
    border: Any

    @property
    def _local(self) -> int:
        return int(self.tie.shape[0])

    @property
    def log_determinant(self) -> float:
        """Return ln of the determinant of the equations."""
        of_border = float(np.sum(np.log(np.abs(self.border.U.diagonal()))))
        return self.home.log_determinant + of_border

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the unknowns that the equations take to `right`."""
        alone = self.home.solve(right[: self._local])
        common = self.border.solve(right[self._local :] - self.tie.T @ alone)
        return np.concatenate([alone - self.pull @ common, common])

    def covariance(self, rows: Any) -> FloatArray:
        """Return the covariance of some sums of unknowns, a sparse row each."""
        local, beside = rows[:, : self._local], self._beside(rows)
        at_home = (local @ self.home.inverse @ local.T).toarray()
        covariance: FloatArray = at_home + beside @ self.border.solve(beside.T)
        return covariance

    def variances(self, rows: Any) -> FloatArray:
        """Return the variance of each of some sums of unknowns."""
        local, beside = rows[:, : self._local], self._beside(rows)
        at_home = ((local @ self.home.inverse) * local).sum(axis=1)
        variances: FloatArray = at_home + np.sum(beside * self.border.solve(beside.T).T, axis=1)
        return variances

    def _beside(self, rows: Any) -> FloatArray:
        """Return how some sums hang on the shared unknowns, what is at home eliminated."""
        local, shared = rows[:, : self._local], rows[:, self._local :]
        beside: FloatArray = (shared - local @ self.pull).toarray()
        return beside

    def diagonal(self) -> FloatArray:
        """Return the variance of each unknown."""
        common = self.border.solve(np.eye(self.tie.shape[1]))
        at_home = self.home.inverse.diagonal() + ((self.pull @ common) * self.pull).sum(axis=1)
        return np.concatenate([at_home, np.diag(common)])

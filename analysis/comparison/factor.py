"""Factorise the season model's equations, and calculate entries of their inverse.

A season of a few schools is one small matrix. A large one has almost all its entries in a block for
each bench: with A these blocks, B the coupling to the shared unknowns and D the equations of the
shared unknowns, all results follow from each block's inverse and from the factorised border
D − BᵀA⁻¹B [1]_.

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

#: Up to this number of unknowns, one dense matrix is quicker than the many small steps of blocks.
DENSE_UP_TO = 250


class Factor(Protocol):
    """Factorised equations, and results from their inverse."""

    @property
    def log_determinant(self) -> float:
        """Return ln of the determinant of the equations."""

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the solution of the equations for a right-hand side."""

    def covariance(self, rows: Any) -> FloatArray:
        """Return the covariance of sums of unknowns, given as sparse rows."""

    def variances(self, rows: Any) -> FloatArray:
        """Return the variance of each sum of unknowns."""

    def diagonal(self) -> FloatArray:
        """Return the variance of each unknown."""


class Equations(Protocol):
    """Normal equations of weighted trials, without priors."""

    def factorised(self, scale: float, prior: FloatArray) -> Factor:
        """Return the equations times `scale`, with the priors' precisions, factorised.

        Raises `InvalidInput` if rounding leaves no positive definite matrix.
        """


def equations(model: Model, cell_weight: FloatArray) -> Equations:
    """Return the normal equations of a model's unknowns, given the weight of each cell."""
    if model.size <= DENSE_UP_TO:
        return _Dense(model, cell_weight)
    return _Bordered(model, cell_weight)


def _weighted_transpose(rows: Any, cell_weight: FloatArray) -> Any:
    """Return the transposed rows of cells, each times its weight."""
    from scipy.sparse import diags_array

    return rows.T @ diags_array(cell_weight)


class _Dense:
    """The equations as one matrix."""

    def __init__(self, model: Model, cell_weight: FloatArray) -> None:
        self._matrix: FloatArray = (
            _weighted_transpose(model.design, cell_weight) @ model.design
        ).toarray()

    def factorised(self, scale: float, prior: FloatArray) -> "_DenseFactor":
        """Return the equations with the priors' precisions, factorised."""
        from scipy.linalg.lapack import dpotrf

        matrix = scale * self._matrix
        matrix.flat[:: len(matrix) + 1] += prior
        lower, failed = dpotrf(matrix, lower=True)
        if failed:
            raise InvalidInput("uncertainties this far apart cannot be weighed with each other")
        return _DenseFactor(lower)


@dataclass(frozen=True)
class _DenseFactor:
    """One matrix, by its lower Cholesky factor."""

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
        inverse: FloatArray = half + half.T
        inverse.flat[:: len(inverse) + 1] /= 2
        return inverse

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the solution of the equations for a right-hand side."""
        from scipy.linalg.lapack import dpotrs

        solved: FloatArray = dpotrs(self.lower, right, lower=True)[0]
        return solved

    def covariance(self, rows: Any) -> FloatArray:
        """Return the covariance of sums of unknowns, given as sparse rows."""
        covariance: FloatArray = rows @ (rows @ self.inverse).T
        return covariance

    def variances(self, rows: Any) -> FloatArray:
        """Return the variance of each sum of unknowns."""
        variances: FloatArray = (rows * (rows @ self.inverse)).sum(axis=1)
        return variances

    def diagonal(self) -> FloatArray:
        """Return the variance of each unknown."""
        return self.inverse.diagonal()


class _Bordered:
    """The equations as a block for each bench, their coupling, and the shared unknowns' block."""

    def __init__(self, model: Model, cell_weight: FloatArray) -> None:
        self._model, self._cell_weight = model, cell_weight
        weighted = _weighted_transpose(model.design_shared, cell_weight)
        self._coupling = (weighted @ model.design_at_home).T.tocsr()
        self._shared = weighted @ model.design_shared

    def factorised(self, scale: float, prior: FloatArray) -> "_BorderedFactor":
        """Return the equations with the priors' precisions, factorised."""
        from scipy.sparse import diags_array
        from scipy.sparse.linalg import splu

        local = self._model.local
        home = self._model.blocks.inverted(scale * self._cell_weight, prior[:local])
        coupling = scale * self._coupling
        pull = home.solve(coupling).tocsr()
        border = scale * self._shared + diags_array(prior[local:]) - coupling.T @ pull
        factor = splu(border.tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        return _BorderedFactor(home, coupling, pull, factor)


@dataclass(frozen=True)
class _BorderedFactor:
    """The inverses of the blocks, and the factorised border after eliminating the blocks."""

    home: Inverted
    coupling: Any
    #: A⁻¹B: how the local unknowns follow from the shared ones.
    pull: Any
    border: Any

    @property
    def _local(self) -> int:
        return int(self.coupling.shape[0])

    @property
    def log_determinant(self) -> float:
        """Return ln of the determinant of the equations."""
        of_border = float(np.sum(np.log(np.abs(self.border.U.diagonal()))))
        return self.home.log_determinant + of_border

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the solution of the equations for a right-hand side."""
        local = self.home.solve(right[: self._local])
        shared = self.border.solve(right[self._local :] - self.coupling.T @ local)
        return np.concatenate([local - self.pull @ shared, shared])

    def covariance(self, rows: Any) -> FloatArray:
        """Return the covariance of sums of unknowns, given as sparse rows."""
        local, reduced = rows[:, : self._local], self._reduced(rows)
        at_home = (local @ self.home.inverse @ local.T).toarray()
        covariance: FloatArray = at_home + reduced @ self.border.solve(reduced.T)
        return covariance

    def variances(self, rows: Any) -> FloatArray:
        """Return the variance of each sum of unknowns."""
        local, reduced = rows[:, : self._local], self._reduced(rows)
        at_home = ((local @ self.home.inverse) * local).sum(axis=1)
        variances: FloatArray = at_home + np.sum(reduced * self.border.solve(reduced.T).T, axis=1)
        return variances

    def _reduced(self, rows: Any) -> FloatArray:
        """Return the shared part of sums after eliminating the local unknowns."""
        local, shared = rows[:, : self._local], rows[:, self._local :]
        reduced: FloatArray = (shared - local @ self.pull).toarray()
        return reduced

    def diagonal(self) -> FloatArray:
        """Return the variance of each unknown."""
        shared = self.border.solve(np.eye(self.coupling.shape[1]))
        local = self.home.inverse.diagonal() + ((self.pull @ shared) * self.pull).sum(axis=1)
        return np.concatenate([local, np.diag(shared)])

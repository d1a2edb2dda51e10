"""Factorise the season model's equations, and calculate entries of their inverse.

A season of a few schools is one small matrix. A large one has almost all its entries in a block for
each bench: with A these blocks, B the coupling to the shared unknowns and D the equations of the
shared unknowns, all results follow from each block's factor and from the factorised border
D − BᵀA⁻¹B [1]_, to which each bench adds its own part. After a change only the blocks of the
changed benches are eliminated again.

References
----------
.. [1] Henderson, H. V., Searle, S. R., "On deriving the inverse of a sum of matrices", SIAM Rev. 23
   (1981) 53-60; the identity also in mathlib, "2×2 block matrices and the Schur complement".
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Protocol

import numpy as np

from analysis.columns import FloatArray, IntArray
from analysis.comparison.bench_blocks import BenchBlock, eliminated
from analysis.comparison.design import Model
from analysis.errors import InvalidInput
from analysis.numeric.cholesky import inverse_of, log_determinant_of

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

    def cell_variances(self) -> FloatArray:
        """Return the variance of the fit of each cell."""

    def diagonal(self) -> FloatArray:
        """Return the variance of each unknown."""


class Equations(Protocol):
    """Normal equations of weighted trials, without priors."""

    def factorised(self, scale: float, prior: FloatArray, like: Factor | None = None) -> Factor:
        """Return the equations times `scale`, with the priors' precisions, factorised.

        Benches whose equations are those of the factor `like` are not eliminated again. Raises
        `InvalidInput` if rounding leaves no positive definite matrix.
        """


def equations(model: Model, cell_weight: FloatArray) -> Equations:
    """Return the normal equations of a model's unknowns, given the weight of each cell."""
    if model.size <= DENSE_UP_TO:
        return _Dense(model, cell_weight)
    return _Bordered(model, cell_weight)


class _Dense:
    """The equations as one matrix."""

    def __init__(self, model: Model, cell_weight: FloatArray) -> None:
        from scipy.sparse import diags_array

        self._design = model.design
        weighted = model.design.T @ diags_array(cell_weight)
        self._matrix: FloatArray = (weighted @ model.design).toarray()

    def factorised(
        self, scale: float, prior: FloatArray, like: Factor | None = None
    ) -> "_DenseFactor":
        """Return the equations with the priors' precisions, factorised."""
        from scipy.linalg.lapack import dpotrf

        matrix = scale * self._matrix
        matrix.flat[:: len(matrix) + 1] += prior
        lower, failed = dpotrf(matrix, lower=True)
        if failed:
            raise InvalidInput("uncertainties this far apart cannot be weighed with each other")
        return _DenseFactor(self._design, lower)


@dataclass(frozen=True)
class _DenseFactor:
    """One matrix, by its lower Cholesky factor."""

    design: Any
    lower: FloatArray

    @cached_property
    def log_determinant(self) -> float:
        """Return ln of the determinant of the equations."""
        return log_determinant_of(self.lower)

    @cached_property
    def inverse(self) -> FloatArray:
        """Return the inverse."""
        return inverse_of(self.lower)

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

    def cell_variances(self) -> FloatArray:
        """Return the variance of the fit of each cell."""
        return self.variances(self.design)

    def diagonal(self) -> FloatArray:
        """Return the variance of each unknown."""
        return self.inverse.diagonal()


class _Bordered:
    """The equations as a block for each bench, and the shared unknowns' border."""

    def __init__(self, model: Model, cell_weight: FloatArray) -> None:
        self._model, self._cell_weight = model, cell_weight

    def factorised(
        self, scale: float, prior: FloatArray, like: Factor | None = None
    ) -> "_BorderedFactor":
        """Return the equations with the priors' precisions, factorised."""
        model, weight = self._model, scale * self._cell_weight
        before = like if isinstance(like, _BorderedFactor) else None
        kept = before.kept(model, weight, prior) if before else [None] * len(model.ends)
        blocks = [
            block or eliminated(cells, weight[rows], prior[own])
            for block, (cells, rows, own) in zip(kept, model.bench_parts, strict=True)
        ]
        border = _border(blocks, prior[model.local :])
        return _BorderedFactor(model, weight, prior, blocks, border)


def _border(blocks: list[BenchBlock], prior: FloatArray) -> Any:
    """Return the factorised equations of the shared unknowns, as all benches leave them."""
    from scipy.sparse import coo_array, diags_array
    from scipy.sparse.linalg import splu

    row, column = (np.concatenate(each) for each in zip(*(b.places for b in blocks), strict=True))
    entries = np.concatenate([each.left.ravel() for each in blocks])
    left = coo_array((entries, (row, column)), shape=(len(prior), len(prior)))
    matrix = (left.tocsc() + diags_array(prior)).tocsc()
    return splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})


@dataclass(frozen=True)
class _BorderedFactor:
    """The blocks of the benches, and the factorised border after eliminating them."""

    model: Model
    weight: FloatArray
    prior: FloatArray
    blocks: list[BenchBlock]
    border: Any

    def kept(
        self, model: Model, weight: FloatArray, prior: FloatArray
    ) -> Sequence[BenchBlock | None]:
        """Return the block of each bench of a model if its equations are the same, else None."""
        if self.model is model:
            if not np.array_equal(self.prior, prior):
                return [None] * len(self.blocks)
            moved = set(model.bench_of_cell[self.weight != weight].tolist())
            return [None if at in moved else block for at, block in enumerate(self.blocks)]
        if self.model.shared_labels != model.shared_labels:
            return [None] * len(model.ends)
        of_bench = dict(zip(self.model.terms["bench"].labels.tolist(), self.blocks, strict=True))
        return [
            block if block and block.is_of(cells, weight[rows], prior[own]) else None
            for block, (cells, rows, own) in zip(
                map(of_bench.get, model.terms["bench"].labels.tolist()),
                model.bench_parts,
                strict=True,
            )
        ]

    @property
    def log_determinant(self) -> float:
        """Return ln of the determinant of the equations."""
        of_border = float(np.sum(np.log(np.abs(self.border.U.diagonal()))))
        return sum(block.log_determinant for block in self.blocks) + of_border

    def solve(self, right: FloatArray) -> FloatArray:
        """Return the solution of the equations for a right-hand side."""
        shared = right[self._local :].copy()
        parts = zip(self.blocks, self.model.bench_parts, strict=True)
        at_home = [block.solve(right[own]) for block, (_, _, own) in parts]
        for block, (_, left) in zip(self.blocks, at_home, strict=True):
            shared[block.shared] -= left
        shared = self.border.solve(shared)
        pulled = [block.pull @ shared[block.shared] for block in self.blocks]
        local = np.concatenate([own for own, _ in at_home]) - np.concatenate(pulled)
        return np.concatenate([local, shared])

    @property
    def _local(self) -> int:
        return self.model.local

    @cached_property
    def _inverse(self) -> Any:
        """Return the inverses of all blocks as one sparse matrix."""
        from scipy.sparse import csr_array

        widths = np.diff(self.model.ends, prepend=0)
        ends = np.cumsum(np.concatenate([[0], np.repeat(widths, widths)]))
        first = np.repeat(self.model.ends - widths, widths**2)
        column = first + _counted(np.repeat(widths, widths))
        entries = np.concatenate([block.inverse.ravel() for block in self.blocks])
        return csr_array((entries, column, ends), shape=(self._local, self._local))

    @cached_property
    def _pull(self) -> Any:
        """Return how all local unknowns follow from the shared ones, as one sparse matrix."""
        from scipy.sparse import csr_array

        counts = [np.full(len(block.prior), len(block.shared)) for block in self.blocks]
        ends = np.cumsum(np.concatenate([[0], *counts]))
        column = np.concatenate([np.tile(each.shared, len(each.prior)) for each in self.blocks])
        entries = np.concatenate([block.pull.ravel() for block in self.blocks])
        shape = self._local, self.model.size - self._local
        return csr_array((entries, column, ends), shape=shape)

    @cached_property
    def _of_shared(self) -> FloatArray:
        """Return the covariance of the shared unknowns."""
        covariance: FloatArray = self.border.solve(np.eye(self.model.size - self._local))
        return covariance

    def covariance(self, rows: Any) -> FloatArray:
        """Return the covariance of sums of unknowns, given as sparse rows."""
        local, reduced = rows[:, : self._local], self._reduced(rows)
        at_home = (local @ self._inverse @ local.T).toarray()
        covariance: FloatArray = at_home + reduced @ self.border.solve(reduced.T)
        return covariance

    def variances(self, rows: Any) -> FloatArray:
        """Return the variance of each sum of unknowns."""
        local, reduced = rows[:, : self._local], self._reduced(rows)
        at_home = ((local @ self._inverse) * local).sum(axis=1)
        variances: FloatArray = at_home + np.sum(reduced * self.border.solve(reduced.T).T, axis=1)
        return variances

    def _reduced(self, rows: Any) -> FloatArray:
        """Return the shared part of sums after eliminating the local unknowns."""
        local, shared = rows[:, : self._local], rows[:, self._local :]
        reduced: FloatArray = (shared - local @ self._pull).toarray()
        return reduced

    def cell_variances(self) -> FloatArray:
        """Return the variance of the fit of each cell."""
        return np.concatenate([block.cell_variances(self._of_shared) for block in self.blocks])

    def diagonal(self) -> FloatArray:
        """Return the variance of each unknown."""
        pulled = ((self._pull @ self._of_shared) * self._pull).sum(axis=1)
        at_home = np.concatenate([block.inverse.diagonal() for block in self.blocks])
        return np.concatenate([at_home + pulled, np.diag(self._of_shared)])


def _counted(lengths: IntArray) -> IntArray:
    """Return 0, 1, 2, … up to each length, one sequence after the other."""
    before = np.cumsum(lengths) - lengths
    return np.arange(int(lengths.sum())) - np.repeat(before, lengths)

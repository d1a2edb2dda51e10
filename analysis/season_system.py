"""The season model's equations: one small inverse for each bench, and a sparse border.

With A the blocks of the benches, B what ties them to the shared unknowns and D the latter's own
equations, all that is asked of the inverse follows from each block's inverse and from the
factorised border D − BᵀA⁻¹B [1]_.

References
----------
.. [1] Henderson, H. V., Searle, S. R., "On deriving the inverse of a sum of matrices", SIAM Rev. 23
   (1981) 53-60. [memory]
.. [2] Searle, S. R., Casella, G., McCulloch, C. E., "Variance Components", Wiley 1992, chapter 8.
   [memory]
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from analysis.columns import FloatArray, IntArray
from analysis.season_terms import FREE, NOWHERE, Model, Spread

LEAST_SESSION, MOST_SESSION = 0.03, 0.50  # [-], bounds of what sessions differ by
MOST_RESIDUAL = 5.0  # [-], times the stated uncertainty
MOST_STEPS = 25
HELD = 0.3  # [-], of the logarithm of a spread: a third more or less is not unusual
AT_ONCE = 4096  # rows whose doubt is worked out together


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums of unknowns, a sparse row each, and what of each build is not in its unknown."""

    rows: Any
    unseen: Any

    def __len__(self) -> int:
        return int(self.rows.shape[0])

    def and_then(self, other: "Sums") -> "Sums":
        """Return these sums and then some others."""
        from scipy.sparse import vstack

        rows, unseen = [self.rows, other.rows], [self.unseen, other.unseen]
        return Sums(vstack(rows, format="csr"), vstack(unseen, format="csr"))

    def minus(self, other: "Sums") -> "Sums":
        """Return each sum less another."""
        return Sums(self.rows - other.rows, self.unseen - other.unseen)

    def parts(self) -> Iterator["Sums"]:
        """Yield some thousand sums at a time."""
        for start in range(0, len(self), AT_ONCE):
            part = slice(start, start + AT_ONCE)
            yield Sums(self.rows[part], self.unseen[part])


class Solution:
    """The terms that fit best, with what the factorised equations tell of their doubt."""

    def __init__(self, model: Model, y: FloatArray, weight: FloatArray, spread: Spread) -> None:
        from scipy.sparse import diags_array
        from scipy.sparse.linalg import splu

        self.model, self.weight, self._spread = model, weight, spread
        cells, local = model.cells, model.local
        self._prior = model.precision(spread)
        of_cell = cells.sum(weight)
        at_home, shared = model.design_at_home, model.design_shared
        home = model.blocks.inverted(of_cell, self._prior[:local])
        self._inverse, self._log_determinant = home.inverse, home.log_determinant
        weighted = shared.T @ diags_array(of_cell)
        tie = (weighted @ at_home).T.tocsr()
        self._pull = home.solve(tie).tocsr()  # A⁻¹B
        border = weighted @ shared + diags_array(self._prior[local:]) - tie.T @ self._pull
        self._border = splu(
            border.tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}
        )
        right = model.design.T @ cells.sum(weight * y)
        alone = home.solve(right[:local])
        common = self._border.solve(right[local:] - tie.T @ alone)
        self.terms: FloatArray = np.concatenate([alone - self._pull @ common, common])
        self._explained = float(self.terms @ right)

    def residuals(self, y: FloatArray) -> FloatArray:
        """Return what the terms leave of y."""
        left: FloatArray = y - (self.model.design @ self.terms)[self.model.cells.codes]
        return left

    def builds(self, builds: IntArray) -> Sums:
        """Return μ + t + θ of some builds."""
        model = self.model
        team, own = model.team_of_build[builds], model.position["build"][builds]
        with_team = np.where(team != NOWHERE, model.position["team"][team], NOWHERE)
        mean = np.full(len(builds), model.local)
        seen = model.rows(own[:, None])
        seen.data = self._seen(builds)
        rows = model.rows(np.column_stack([mean, with_team])) + seen
        return Sums(rows, self._unseen(builds, model.is_local(builds)))

    def readings(self, builds: IntArray, benches: IntArray) -> tuple[Sums, Any]:
        """Return what some builds would read at benches, but for the sitting and scatter.

        Also which of them were never tested there: what is particular to them is not in it.
        """
        model = self.model
        pair = model.pair_at(builds, benches)
        bench = model.position["bench"][benches]
        home = np.searchsorted(model.ends, model.position["build"][builds], side="right")
        is_home = model.is_local(builds) & (home == benches)
        # At home a build's unknown holds what it has at its bench as well.
        whole = model.rows(np.where(is_home, model.position["build"][builds], NOWHERE)[:, None])
        whole.data = 1 - self._seen(builds[is_home])
        sums = self.builds(builds)
        rows = sums.rows + whole + model.rows(np.column_stack([bench, pair]))
        unseen = self._unseen(builds, model.is_local(builds) & ~is_home)
        return Sums(rows, unseen), ~is_home & (pair == NOWHERE)

    def _seen(self, builds: IntArray) -> FloatArray:
        """Return how much of a build's unknown is its own: all, or at its only bench a share."""
        variance = self.model.build_variance(builds, self._spread)
        particular = np.where(self.model.is_local(builds), self._spread.interaction**2, 0.0)
        return variance / (variance + particular)

    def _unseen(self, builds: IntArray, which: Any) -> Any:
        """Return the spread of what a build's unknown cannot tell from its bench's share."""
        from scipy.sparse import csr_array

        row = np.flatnonzero(which)
        seen = self._seen(builds[row])
        deviation = np.sqrt(seen) * self._spread.interaction
        shape = (len(builds), self.model.builds.size)
        return csr_array((deviation, (row, builds[row])), shape=shape)

    def covariance(self, sums: Sums) -> FloatArray:
        """Return the posterior covariance of some sums of terms."""
        local = sums.rows[:, : self.model.local]
        beside = self._beside(sums)
        covariance = (local @ self._inverse @ local.T + sums.unseen @ sums.unseen.T).toarray()
        covariance += beside @ self._border.solve(beside.T)
        symmetric: FloatArray = (covariance + covariance.T) / 2
        return symmetric

    def _beside(self, sums: Sums) -> FloatArray:
        """Return how some sums hang on the shared unknowns, what is at home eliminated."""
        local, shared = sums.rows[:, : self.model.local], sums.rows[:, self.model.local :]
        beside: FloatArray = (shared - local @ self._pull).toarray()
        return beside

    def variances(self, sums: Sums) -> FloatArray:
        """Return the posterior variance of each of some sums of terms."""
        return np.concatenate([self._variances(part) for part in sums.parts()])

    def _variances(self, sums: Sums) -> FloatArray:
        local, beside = sums.rows[:, : self.model.local], self._beside(sums)
        own = ((local @ self._inverse) * local).sum(axis=1) + (sums.unseen**2).sum(axis=1)
        variances: FloatArray = own + np.sum(beside * self._border.solve(beside.T).T, axis=1)
        return variances

    def of_terms(self, name: str) -> Sums:
        """Return the terms of one kind, each alone."""
        return self._seen_whole(self.model.rows(self.model.position[name][:, None]))

    def _seen_whole(self, rows: Any) -> Sums:
        """Return sums of unknowns as they are, nothing of a build beside them."""
        from scipy.sparse import csr_array

        return Sums(rows, csr_array((rows.shape[0], self.model.builds.size)))

    def leverages(self, trials: IntArray) -> FloatArray:
        """Return by how much of itself each of some trials determines its own fit."""
        fits = self._seen_whole(self.model.design[self.model.cells.codes[trials]])
        leverage: FloatArray = self.weight[trials] * self.variances(fits)
        return leverage

    def term_variances(self) -> FloatArray:
        """Return the posterior variance of every unknown, in their order."""
        common = self._border.solve(np.eye(self.model.size - self.model.local))
        at_home = self._inverse.diagonal() + ((self._pull @ common) * self._pull).sum(axis=1)
        return np.concatenate([at_home, np.diag(common)])

    def gradient(self, y: FloatArray) -> FloatArray:
        """Return how the likelihood below moves with the logarithms of the two spreads sought.

        Those are `session` and `residual`: d(-2 ln L)/d ln σ = 2 (n - Σ (q² + Var q)/σ²) over the
        sessions, and the same over the trials, whose fits' doubts add up to the number of unknowns
        less what the priors hold of them [2]_.
        """
        variances = self.term_variances()
        at = self.model.position["session"]
        sessions = np.sum((self.terms[at] ** 2 + variances[at]) * self._prior[at])
        fits = self.model.size - np.sum(self._prior * variances)
        trials = np.sum(self.weight * self.residuals(y) ** 2) + fits
        return 2 * np.array([len(at) - sessions, len(self.weight) - trials])

    def minus_two_log_likelihood(self, y: FloatArray) -> float:
        """Return how badly the priors' spreads explain y, up to a constant (restricted likelihood).

        The mean's prior is all but flat, so that this is the likelihood of what is left of y once
        its mean is taken out.
        """
        of_border = float(np.sum(np.log(np.abs(self._border.U.diagonal()))))
        misfit = float(np.sum(self.weight * y**2)) - self._explained
        return (
            self._log_determinant
            + of_border
            - float(np.sum(np.log(self._prior)))
            - float(np.sum(np.log(self.weight)))
            + misfit
        )


def restricted_spread(
    model: Model,
    y: FloatArray,
    weight: FloatArray,
    spread: Spread,
    least_residual: float,
    held: float = HELD,
) -> Spread:
    """Return the spreads with those of sessions and residuals estimated from the season itself.

    Parameters
    ----------
    model : Model
        Terms of the trials, n of them.
    y : array, shape (n,)
        ln power. [-]
    weight : array, shape (n,)
        One over the variance of each trial by its stated uncertainty. [-]
    spread : Spread
        What is usual, where the search begins; all but two stay as they are.
    least_residual : float
        Floor of the residual factor. [-]
    held : float, optional
        Standard deviation, as a logarithm, by which estimates are held to what is usual: a season
        with few repeats cannot claim to be much quieter than others. Infinite: not at all. [-]

    Returns
    -------
    Spread
        With `session` and `residual` at the largest restricted likelihood above their floors.

    References
    ----------
    .. [1] Patterson, H. D., Thompson, R., "Recovery of inter-block information when block sizes are
       unequal", Biometrika 58 (1971) 545-554. [memory]
    """
    from scipy.optimize import minimize

    centred = y - np.average(y, weights=weight)
    # Builds and benches all but free: what a team learns must not pass for scatter of sessions.
    free = replace(spread, team=FREE, build=FREE, bench=FREE)

    usual = np.log([spread.session, max(spread.residual, least_residual)])

    def misfit(logarithms: FloatArray) -> tuple[float, FloatArray]:
        session, residual = (math.exp(each) for each in logarithms)
        tried = replace(free, session=session, residual=residual)
        solution = Solution(model, centred, weight / residual**2, tried)
        unusual = (logarithms - usual) / held
        return (
            solution.minus_two_log_likelihood(centred) + float(np.sum(unusual**2)),
            solution.gradient(centred) + 2 * unusual / held,
        )

    found = minimize(
        misfit,
        usual,
        jac=True,
        method="L-BFGS-B",
        bounds=[
            (math.log(LEAST_SESSION), math.log(MOST_SESSION)),
            (math.log(least_residual), math.log(MOST_RESIDUAL)),
        ],
        options={"maxiter": MOST_STEPS, "ftol": 1e-9},
    )
    session, residual = (math.exp(each) for each in found.x)
    return replace(spread, session=session, residual=residual)

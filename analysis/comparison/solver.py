"""Fit the season model's terms with their uncertainty, and estimate a season's own spreads.

References
----------
.. [1] Searle, S. R., Casella, G., McCulloch, C. E., "Variance Components", Wiley 1992, chapter 8
   (computing by EM), as the source of `morie`'s `remlfn` cites it; the gradient is also tested by
   finite differences.
"""

import math
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from analysis.columns import FloatArray, IntArray
from analysis.comparison.design import FREE, NOWHERE, Model, Spread
from analysis.comparison.factor import Equations, Factor, equations

LEAST_SESSION, MOST_SESSION = 0.03, 0.50  # [-], bounds of what sessions differ by
LEAST_INTERACTION, MOST_INTERACTION = 0.01, 0.30  # [-], bounds of a build at a bench
MOST_RESIDUAL = 5.0  # [-], times the stated uncertainty
MOST_STEPS = 25
PRIOR_SD = 0.3  # [-], of the logarithm of a spread: a third more or less is not unusual
#: [-], same, of the interaction: how rotors take to other jets differs more between regions.
INTERACTION_PRIOR_SD = 1.0
AT_ONCE = 4096  # rows whose uncertainty is worked out together


@dataclass(frozen=True, slots=True)
class Sums:
    """Sums of unknowns as sparse rows, and the part of each build that is not in its unknown."""

    rows: Any
    unseen: Any

    def __len__(self) -> int:
        return int(self.rows.shape[0])

    def and_then(self, other: "Sums") -> "Sums":
        """Return these sums followed by others."""
        from scipy.sparse import vstack

        rows, unseen = [self.rows, other.rows], [self.unseen, other.unseen]
        return Sums(vstack(rows, format="csr"), vstack(unseen, format="csr"))

    def minus(self, other: "Sums") -> "Sums":
        """Return each sum less another."""
        return Sums(self.rows - other.rows, self.unseen - other.unseen)

    def parts(self) -> Iterator["Sums"]:
        """Yield parts of at most `AT_ONCE` sums."""
        for start in range(0, len(self), AT_ONCE):
            part = slice(start, start + AT_ONCE)
            yield Sums(self.rows[part], self.unseen[part])


class WeightedTrials:
    """A season's weighted trials and their normal equations, without priors.

    Parameters
    ----------
    model : Model
        Terms of the trials, n of them.
    y : array, shape (n,)
        ln power. [-]
    weight : array, shape (n,)
        One over the variance of each trial. [-]
    """

    def __init__(self, model: Model, y: FloatArray, weight: FloatArray) -> None:
        self.model, self.y, self.weight, self.scale = model, y, weight, 1.0
        self.equations: Equations = equations(model, model.cells.sum(weight))
        self.right: FloatArray = model.design.T @ model.cells.sum(weight * y)

    def times(self, scale: float) -> "WeightedTrials":
        """Return the same trials with all their weights multiplied."""
        other = copy(self)
        other.scale *= scale
        other.weight, other.right = scale * self.weight, scale * self.right
        return other


class Solution:
    """The best-fitting terms, with uncertainties from the factorised equations.

    The benches whose equations are those of the solution `like` cost nothing again.
    """

    def __init__(
        self, weighted: WeightedTrials, spread: Spread, like: "Solution | None" = None
    ) -> None:
        self.model, self._weighted, self._spread = weighted.model, weighted, spread
        self._prior = self.model.precision(spread)
        before = None if like is None else like._factor
        self._factor: Factor = weighted.equations.factorised(weighted.scale, self._prior, before)
        self.terms = self._factor.solve(weighted.right)

    @cached_property
    def residuals(self) -> FloatArray:
        """Return y less the fitted values."""
        fits = (self.model.design @ self.terms)[self.model.cells.codes]
        left: FloatArray = self._weighted.y - fits
        return left

    def builds(self, builds: IntArray) -> Sums:
        """Return μ + t + θ of builds."""
        model = self.model
        team, own = model.team_of_build[builds], model.position["build"][builds]
        with_team = np.where(team != NOWHERE, model.position["team"][team], NOWHERE)
        mean = np.full(len(builds), model.local)
        seen = model.rows(own[:, None])
        seen.data = self._own_share(builds)
        rows = model.rows(np.column_stack([mean, with_team])) + seen
        return Sums(rows, self._unseen(builds, model.is_local(builds)))

    def readings(self, builds: IntArray, benches: IntArray) -> tuple[Sums, Any]:
        """Return the readings of builds at benches, without session effects and scatter.

        Also return a mask of pairs that were never tested: their interaction is not included.
        """
        model = self.model
        pair = model.pair_at(builds, benches)
        bench = model.position["bench"][benches]
        home = np.searchsorted(model.ends, model.position["build"][builds], side="right")
        is_home = model.is_local(builds) & (home == benches)
        # At its only bench a build's unknown contains its interaction with that bench as well.
        rest = model.rows(np.where(is_home, model.position["build"][builds], NOWHERE)[:, None])
        rest.data = 1 - self._own_share(builds[is_home])
        sums = self.builds(builds)
        rows = sums.rows + rest + model.rows(np.column_stack([bench, pair]))
        unseen = self._unseen(builds, model.is_local(builds) & ~is_home)
        return Sums(rows, unseen), ~is_home & (pair == NOWHERE)

    def _own_share(self, builds: IntArray) -> FloatArray:
        """Return the share of a build's unknown that is its own: 1, or less at its only bench."""
        variance = self.model.build_variance(builds, self._spread)
        particular = np.where(self.model.is_local(builds), self._spread.interaction**2, 0.0)
        return variance / (variance + particular)

    def _unseen(self, builds: IntArray, which: Any) -> Any:
        """Return the spread of a build's own effect that its unknown does not determine."""
        from scipy.sparse import csr_array

        row = np.flatnonzero(which)
        seen = self._own_share(builds[row])
        deviation = np.sqrt(seen) * self._spread.interaction
        shape = (len(builds), self.model.builds.size)
        return csr_array((deviation, (row, builds[row])), shape=shape)

    def covariance(self, sums: Sums) -> FloatArray:
        """Return the posterior covariance of sums of terms."""
        covariance = self._factor.covariance(sums.rows) + (sums.unseen @ sums.unseen.T).toarray()
        symmetric: FloatArray = (covariance + covariance.T) / 2
        return symmetric

    def variances(self, sums: Sums) -> FloatArray:
        """Return the posterior variance of each sum of terms."""
        return np.concatenate(
            [
                self._factor.variances(part.rows) + (part.unseen**2).sum(axis=1)
                for part in sums.parts()
            ]
        )

    def of_terms(self, name: str) -> Sums:
        """Return the terms of one kind as sums of one term each."""
        from scipy.sparse import csr_array

        rows = self.model.rows(self.model.position[name][:, None])
        return Sums(rows, csr_array((rows.shape[0], self.model.builds.size)))

    def fit_variances(self) -> FloatArray:
        """Return the variance of the fit of each trial."""
        variances: FloatArray = self._factor.cell_variances()[self.model.cells.codes]
        return variances

    def gradient(self) -> FloatArray:
        """Return how the likelihood below moves with the logarithms of the spreads sought.

        Those are `session`, `interaction` and `residual`: d(-2 ln L)/d ln σ =
        2 (n - Σ (q² + Var q)/σ²) over the sessions, over builds at several benches, and the same
        over the trials, whose fits' uncertainties add up to the number of unknowns less what the
        priors determine of them [1]_. A build at one bench has its interaction as a share of its
        own unknown.
        """
        model, weight = self.model, self._weighted.weight
        variances = self._factor.diagonal()
        unexplained = 1 - (self.terms**2 + variances) * self._prior
        every = np.arange(model.builds.size)
        share = 1 - self._own_share(every)
        interactions = np.sum(unexplained[model.position["pair"]]) + np.sum(
            share * unexplained[model.position["build"]]
        )
        fits = model.size - np.sum(self._prior * variances)
        trials = np.sum(weight * self.residuals**2) + fits
        sessions = np.sum(unexplained[model.position["session"]])
        return 2 * np.array([sessions, interactions, np.count_nonzero(weight) - trials])

    def minus_two_log_likelihood(self) -> float:
        """Return -2 ln of the restricted likelihood of the spreads, up to a constant.

        The prior of the mean is almost flat, so that this is the likelihood of y after removing
        its mean.
        """
        y, weight = self._weighted.y, self._weighted.weight
        misfit = float(np.sum(weight * y**2) - self.terms @ self._weighted.right)
        return (
            self._factor.log_determinant
            - float(np.sum(np.log(self._prior)))
            - float(np.sum(np.log(weight[weight > 0])))
            + misfit
        )


def restricted_spread(
    model: Model,
    y: FloatArray,
    weight: FloatArray,
    spread: Spread,
    least_residual: float,
    prior_width: float = 1.0,
) -> Spread:
    """Return the spreads with those that a season tells of itself: sessions, builds, residuals.

    Parameters
    ----------
    model : Model
        Terms of the trials, n of them.
    y : array, shape (n,)
        ln power. [-]
    weight : array, shape (n,)
        One over the variance of each trial by its stated uncertainty. [-]
    spread : Spread
        What is usual, where the search begins; all but three stay as they are.
    least_residual : float
        Floor of the residual factor. [-]
    prior_width : float, optional
        Times the usual width by which estimates are held to what is usual: a season with few
        repeats cannot claim to be much quieter than others. Infinite: not at all. [-]

    Returns
    -------
    Spread
        With `session`, `residual` and, where builds were tested at several benches, `interaction`
        at the largest penalised restricted likelihood: each logarithm has a normal prior about what
        is usual, 0.3 wide (1 for the interaction).

    References
    ----------
    .. [1] Patterson, H. D., Thompson, R., "Recovery of inter-block information when block sizes are
       unequal", Biometrika 58 (1971) 545-554, as IBM SPSS Statistics cites it for this method.
    """
    from scipy.optimize import minimize

    centred = y - np.average(y, weights=weight)
    # Builds and benches are almost free: progress of a team must not look like session scatter.
    free = replace(spread, team=FREE, build=FREE, bench=FREE)

    weighted = WeightedTrials(model, centred, weight)
    residual = max(spread.residual, least_residual)
    usual = np.log([spread.session, spread.interaction, residual])
    width = prior_width * np.array([PRIOR_SD, INTERACTION_PRIOR_SD, PRIOR_SD])

    def misfit(logarithms: FloatArray) -> tuple[float, FloatArray]:
        session, interaction, residual = (math.exp(each) for each in logarithms)
        tried = replace(free, session=session, interaction=interaction, residual=residual)
        solution = Solution(weighted.times(residual**-2), tried)
        unusual = (logarithms - usual) / width
        return (
            solution.minus_two_log_likelihood() + float(np.sum(unusual**2)),
            solution.gradient() + 2 * unusual / width,
        )

    minimum = minimize(
        misfit,
        usual,
        jac=True,
        method="L-BFGS-B",
        bounds=[
            (math.log(LEAST_SESSION), math.log(MOST_SESSION)),
            _interaction_bounds(model, spread),
            (math.log(least_residual), math.log(MOST_RESIDUAL)),
        ],
        options={"maxiter": MOST_STEPS, "ftol": 1e-9},
    )
    session, interaction, residual = (math.exp(each) for each in minimum.x)
    return replace(spread, session=session, interaction=interaction, residual=residual)


def _interaction_bounds(model: Model, spread: Spread) -> tuple[float, float]:
    """Return between which logarithms the interaction is sought: one, where nothing travels."""
    usual = spread.interaction
    if not model.pairs.size:
        return math.log(usual), math.log(usual)
    return math.log(min(LEAST_INTERACTION, usual)), math.log(max(MOST_INTERACTION, usual))

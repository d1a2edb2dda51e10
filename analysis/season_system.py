"""The season model's equations: sparse rows of terms, the priors that hold them, one factorisation.

A season of thousands of builds has as many unknowns, but each trial touches
six of them; the normal equations stay sparse and are factorised once per
round.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, IntArray
from analysis.groups import Groups, group_by

TERMS = ("team", "build", "bench", "session")
FREE = 3.0  # [-], standard deviation of a term that the data alone decide
LEAST_SESSION, MOST_SESSION = 0.03, 0.50  # [-], bounds of what sessions differ by
MOST_RESIDUAL = 5.0  # [-], times the stated uncertainty
MOST_STEPS = 25
HELD = 0.3  # [-], of the logarithm of a spread: a third more or less is not unusual


@dataclass(frozen=True, slots=True)
class Spread:
    """Standard deviations of the terms of ln power; assumed until a region knows better.

    `residual` is how many times the stated uncertainty of a trial the trials scatter.
    """

    mean: float = 10.0
    team: float = 0.35
    build: float = 0.35
    bench: float = 0.25
    session: float = 0.06
    interaction: float = 0.05
    reference: float = FREE
    residual: float = 1.0


class Model:
    """Which terms each trial is the sum of."""

    def __init__(self, trials: Mapping[str, npt.ArrayLike]) -> None:
        self.terms = {name: group_by(np.asarray(trials[f"{name}_id"])) for name in TERMS}
        benches = self.terms["bench"]
        self.pairs = group_by(self.terms["build"].codes * benches.size + benches.codes)
        self.is_reference = np.asarray(trials["team_id"]) == ""
        sizes = {"mean": 1} | {name: each.size for name, each in self.terms.items()}
        sizes |= {"pair": self.pairs.size}
        self.start: dict[str, int] = {}
        self.size = 0
        for name, count in sizes.items():
            self.start[name], self.size = self.size, self.size + count
        self.design = self._design()

    def _design(self) -> Any:
        """Return the sparse design: a one for each term of each trial; a reference has no team."""
        from scipy.sparse import csr_array

        n = len(self.is_reference)
        row = np.arange(n)
        own = ~self.is_reference
        columns = [
            np.zeros(n, dtype=np.int64),
            self.start["team"] + self.terms["team"].codes[own],
            *(self.start[name] + self.terms[name].codes for name in TERMS[1:]),
            self.start["pair"] + self.pairs.codes,
        ]
        rows = np.concatenate([row, row[own], row, row, row, row])
        column = np.concatenate(columns)
        return csr_array((np.ones(len(rows)), (rows, column)), shape=(n, self.size))

    def precision(self, spread: Spread) -> FloatArray:
        """Return one over the prior variance of each term; a reference rotor's is all but free."""
        builds = self.terms["build"]
        build = np.full(builds.size, spread.build)
        build[np.unique(builds.codes[self.is_reference])] = spread.reference
        deviations = [
            np.array([spread.mean]),
            np.full(self.terms["team"].size, spread.team),
            build,
            np.full(self.terms["bench"].size, spread.bench),
            np.full(self.terms["session"].size, spread.session),
            np.full(self.pairs.size, spread.interaction),
        ]
        return np.concatenate(deviations) ** -2.0

    def positions(self, name: str) -> IntArray:
        """Return where the terms of one kind stand among the unknowns."""
        return self.start[name] + np.arange(self.terms[name].size)

    def pair_of(self, build: int, bench: int) -> int | None:
        """Return the position of what a build has at one bench alone; nothing if never tested."""
        key = build * self.terms["bench"].size + bench
        at = int(np.searchsorted(self.pairs.labels, key))
        is_known = at < self.pairs.size and int(self.pairs.labels[at]) == key
        return at if is_known else None

    def build_rows(self, builds: Sequence[int]) -> Any:
        """Return the sparse rows that add up to μ + t + θ of some builds."""
        from scipy.sparse import csc_array

        team_of_build = np.full(self.terms["build"].size, -1, dtype=np.int64)
        own = ~self.is_reference
        team_of_build[self.terms["build"].codes[own]] = self.terms["team"].codes[own]
        count, chosen = len(builds), np.asarray(builds, dtype=np.int64)
        teams = team_of_build[chosen]
        in_team = teams >= 0
        row = np.arange(count)
        rows = np.concatenate([row, row, row[in_team]])
        columns = np.concatenate(
            [
                np.zeros(count, dtype=np.int64),
                self.start["build"] + chosen,
                self.start["team"] + teams[in_team],
            ]
        )
        return csc_array((np.ones(len(rows)), (rows, columns)), shape=(count, self.size))

    @property
    def builds(self) -> Groups:
        """Return the builds."""
        return self.terms["build"]


class Solution:
    """The terms that fit best, with what the factorised equations tell of their doubt."""

    def __init__(self, model: Model, y: FloatArray, weight: FloatArray, spread: Spread) -> None:
        from scipy.sparse import diags_array
        from scipy.sparse.linalg import splu

        self.model, self.weight = model, weight
        self._prior = model.precision(spread)
        weighted = model.design.T @ diags_array(weight)
        matrix = (weighted @ model.design + diags_array(self._prior)).tocsc()
        self._solver = splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        right = weighted @ y
        self.terms: FloatArray = self._solver.solve(right)
        self._explained = float(self.terms @ right)

    def residuals(self, y: FloatArray) -> FloatArray:
        """Return what the terms leave of y."""
        left: FloatArray = y - self.model.design @ self.terms
        return left

    def covariance(self, rows: Any) -> FloatArray:
        """Return the posterior covariance of some sums of terms."""
        solved = self._solver.solve(rows.T.toarray())
        covariance: FloatArray = rows @ solved
        return (covariance + covariance.T) / 2

    def variances(self, positions: IntArray) -> FloatArray:
        """Return the posterior variance of some single terms."""
        unit = np.zeros((self.model.size, len(positions)))
        unit[positions, np.arange(len(positions))] = 1.0
        solved = self._solver.solve(unit)
        return np.asarray(solved[positions, np.arange(len(positions))], dtype=np.float64)

    def leverages(self, trials: IntArray) -> FloatArray:
        """Return by how much of itself each of some trials determines its own fit."""
        rows = self.model.design[trials]
        solved = self._solver.solve(rows.T.toarray())
        spread_of_fit = np.asarray((rows.multiply(solved.T)).sum(axis=1)).ravel()
        leverage: FloatArray = self.weight[trials] * spread_of_fit
        return leverage

    def minus_two_log_likelihood(self, y: FloatArray) -> float:
        """Return how badly the priors' spreads explain y, up to a constant (restricted likelihood).

        The mean's prior is all but flat, so that this is the likelihood of what is left of y once
        its mean is taken out.
        """
        log_determinant = float(np.sum(np.log(np.abs(self._solver.U.diagonal()))))
        misfit = float(np.sum(self.weight * y**2)) - self._explained
        return (
            log_determinant
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

    def misfit(logarithms: FloatArray) -> float:
        session, residual = (math.exp(each) for each in logarithms)
        tried = replace(free, session=session, residual=residual)
        solution = Solution(model, centred, weight / residual**2, tried)
        unusual = np.sum(((logarithms - usual) / held) ** 2)
        return solution.minus_two_log_likelihood(centred) + float(unusual)

    found = minimize(
        misfit,
        usual,
        method="L-BFGS-B",
        bounds=[
            (math.log(LEAST_SESSION), math.log(MOST_SESSION)),
            (math.log(least_residual), math.log(MOST_RESIDUAL)),
        ],
        options={"maxiter": MOST_STEPS, "ftol": 1e-9},
    )
    session, residual = (math.exp(each) for each in found.x)
    return replace(spread, session=session, residual=residual)

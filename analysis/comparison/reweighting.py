"""Solve a season's terms with odd trials counting less, and estimate how much they scatter.

References
----------
.. [1] Huber, P. J., "Robust estimation of a location parameter", Ann. Math. Statist. 35 (1964)
   73-101, as R metANN's `loss_huber` cites it.
"""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.comparison.design import Model, Spread
from analysis.comparison.solver import Solution, WeightedTrials, restricted_spread
from analysis.errors import InvalidInput, TooFewTrials

HUBER_FROM = 2.5  # [-], standardised residual from which a trial counts less
ROUNDS = 8  # of reweighting, at most
#: Change of a weight below which the reweighting has converged: in the end, where it moves no build
#: by a hundredth of its uncertainty, and before the spreads are estimated. [-]
SETTLED, ROUGHLY_SETTLED = 5e-3, 5e-2
TRIALS_TO_ESTIMATE, BENCHES_TO_ESTIMATE = 40, 4  # before spreads are taken from the season itself
ENOUGH_TO_ESTIMATE = 5_000  # trials; more of them do not change the spreads
LEAST_RESIDUAL = 0.03  # [-], of a trial's ln power, however little a season scatters


class MeasuredSeason:
    """A season's trials: their columns, terms, ln power and its stated uncertainty."""

    def __init__(self, columns: Mapping[str, npt.ArrayLike]) -> None:
        self.columns = columns
        self.y = np.asarray(columns["log_power"], dtype=np.float64)
        self.u = np.asarray(columns["u_own"], dtype=np.float64)
        if self.y.size == 0:
            raise TooFewTrials("a comparison needs a trial")
        is_finite = np.all(np.isfinite(self.y)) and np.all(np.isfinite(self.u))
        if not (is_finite and np.all(self.u > 0)):
            raise InvalidInput("a comparison needs finite ln powers, and uncertainties above 0")
        self.model = Model(columns)


def fit_from_nothing(
    season: MeasuredSeason, spread: Spread | None, *, is_estimated: bool
) -> tuple[Spread, Solution, FloatArray]:
    """Return the spreads, assumed or estimated, with the fit by them and its weights."""
    assumed, ones = spread or Spread(), np.ones_like(season.y)
    settled = ROUGHLY_SETTLED if is_estimated else SETTLED
    solution, weights = fit_robustly(season, assumed, ones, settled=settled)
    if not is_estimated:
        return assumed, solution, weights
    estimated = estimated_spread(season, weights, assumed)
    return estimated, *fit_robustly(season, estimated, weights)


def fit_robustly(
    season: MeasuredSeason,
    spread: Spread,
    weights: FloatArray,
    *,
    rounds: int = ROUNDS,
    settled: float = SETTLED,
    like: Solution | None = None,
) -> tuple[Solution, FloatArray]:
    """Return the fit with odd trials counting less, and its weights.

    It begins with some weights; a trial of weight 0 stays out. If it begins at the solution `like`,
    weights that have converged stay as they are, so that only benches with others are solved again.
    """
    begins, counts, scatter = like is not None, weights > 0, season.u * spread.residual
    for _ in range(rounds):
        weighted = WeightedTrials(season.model, season.y, weights / scatter**2)
        solution = Solution(weighted, spread, like)
        z = solution.residuals / scatter
        bounded = np.minimum(1.0, HUBER_FROM / np.maximum(np.abs(z), 1e-12))
        now = np.where(counts, bounded, 0.0)
        has_moved = np.abs(now - weights) >= settled
        weights = np.where(has_moved, now, weights) if begins else now
        if not has_moved.any():
            break
        like = solution if begins else None
    return solution, weights


def has_enough(model: Model) -> bool:
    """Tell whether a season has enough trials and benches to estimate its own scatter."""
    trials, benches = len(model.cells.codes), model.terms["bench"].size
    return trials >= TRIALS_TO_ESTIMATE and benches >= BENCHES_TO_ESTIMATE


def estimated_spread(season: MeasuredSeason, weights: FloatArray, spread: Spread) -> Spread:
    """Return spreads estimated from the season's trials; of only some benches if it is large."""
    model, y, u = season.model, season.y, season.u
    codes = model.terms["bench"].codes
    up_to = np.cumsum(np.bincount(codes))
    last = int(np.searchsorted(up_to, ENOUGH_TO_ESTIMATE))
    chosen = codes <= max(last, BENCHES_TO_ESTIMATE - 1)
    sample = model
    if not chosen.all():
        columns = season.columns.items()
        sample = Model({name: np.asarray(column)[chosen] for name, column in columns})
    floor = LEAST_RESIDUAL / float(np.median(u[chosen]))
    return restricted_spread(sample, y[chosen], (weights / u**2)[chosen], spread, floor)

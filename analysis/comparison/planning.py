"""Plan the sessions or visits that would narrow the uncertainty between teams most."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.columns import FloatArray
from analysis.comparison.fit import SeasonFit
from analysis.trials.results import U_PLACEMENT, U_REPEAT

RUNS = 3  # of one planned trial
WORTH_IT = 0.999  # [-], of the uncertainty before, that a step must bring it below
Kind = Literal["reference", "visit", "visit_day"]


#: Carrying the reference rotor's box, against travel of a team; common practice, no source.
EFFORT: dict[Kind, float] = {"reference": 1.0, "visit": 2.0, "visit_day": 2.0}


@dataclass(frozen=True, slots=True)
class Step:
    """A possible session: a bench, and the builds that would run there."""

    kind: Kind
    bench_id: str
    build_ids: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """A step with the uncertainty between two current builds before and after it.

    Uncertainties are root mean squares over all pairs, of ln power.
    """

    step: Step
    uncertainty_before: float
    uncertainty_after: float


def plan_steps(
    fit: SeasonFit, current: Sequence[str], steps: Sequence[Step], most: int
) -> list[PlannedStep]:
    """Return the steps that narrow the uncertainty most, one after the other.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    current : sequence of str
        Builds to be compared; two or more.
    steps : sequence of Step
        Possible sessions.
    most : int
        Largest number of steps to return.

    Returns
    -------
    list of PlannedStep
        Each step is the best for its effort after those before it; fewer if no step narrows the
        uncertainty any more.

    Notes
    -----
    A planned trial is one more observation of the linear model, with the noise of three runs, of
    placement, of a new session and of a new pairing of build and bench. The covariance after it
    does not depend on the reading (Gaussian linear model: C − C xᵀ (x C xᵀ + R)⁻¹ x C).
    """
    covariance, rows, noise = _joint(fit, current, steps)
    planned: list[PlannedStep] = []
    left = list(range(len(steps)))
    before = _uncertainty(covariance, len(current))
    while left and len(planned) < most:
        uncertainties = {
            at: _uncertainty_after(covariance, rows[at], noise, fit.spread.session, len(current))
            for at in left
        }
        best = max(left, key=lambda at: _gain(steps[at], before, uncertainties[at]))
        uncertainty = uncertainties[best]
        if uncertainty >= before * WORTH_IT:
            break
        planned.append(PlannedStep(steps[best], before, uncertainty))
        covariance, before = (
            _observed(covariance, rows[best], noise, fit.spread.session),
            uncertainty,
        )
        left.remove(best)
    return planned


def _joint(
    fit: SeasonFit, current: Sequence[str], steps: Sequence[Step]
) -> tuple[FloatArray, list[list[int]], FloatArray]:
    """Return the covariance of current builds and of all possible readings.

    Also return the positions of each step's readings in it, and each reading's noise without that
    of its session.
    """
    readings = list(
        dict.fromkeys((build, step.bench_id) for step in steps for build in step.build_ids)
    )
    position = {reading: len(current) + at for at, reading in enumerate(readings)}
    covariance, is_new = fit.covariance_with(current, readings)
    rows = [[position[build, step.bench_id] for build in step.build_ids] for step in steps]
    spread = fit.spread
    runs = spread.residual**2 * (U_REPEAT**2 / RUNS + U_PLACEMENT**2)
    noise = np.zeros(len(covariance))
    noise[len(current) :] = runs + np.where(is_new, spread.interaction**2, 0.0)
    return covariance, rows, noise


def _observed(
    covariance: FloatArray, rows: list[int], noise: FloatArray, session_sd: float
) -> FloatArray:
    """Return the covariance after reading the sums in `rows` in one new session."""
    across = covariance[:, rows]
    left: FloatArray = covariance - across @ _weights(covariance, rows, noise, session_sd, across)
    return left


def _weights(
    covariance: FloatArray,
    rows: list[int],
    noise: FloatArray,
    session_sd: float,
    across: FloatArray,
) -> FloatArray:
    """Return the weight of each reading in the update of the sums whose covariance is `across`."""
    shared = np.full((len(rows), len(rows)), session_sd**2) + np.diag(noise[rows])
    return np.linalg.solve(covariance[np.ix_(rows, rows)] + shared, across.T)


def _uncertainty_after(
    covariance: FloatArray, rows: list[int], noise: FloatArray, session_sd: float, count: int
) -> float:
    """Return the uncertainty after reading the sums in `rows`, without the complete covariance.

    Only the trace and the sum of the first block are needed, and their reductions follow from the
    covariances with the readings, so that the cost of a step grows with the number of builds.
    """
    across = covariance[:count, rows]
    weights = _weights(covariance, rows, noise, session_sd, across)
    trace = float(np.trace(covariance[:count, :count])) - float((across * weights.T).sum())
    total = float(covariance[:count, :count].sum()) - float(across.sum(0) @ weights.sum(1))
    return _spread(trace, total, count)


def _gain(step: Step, before: float, after: float) -> float:
    """Return the reduction of variance by a step, over its effort."""
    return (before**2 - after**2) / EFFORT[step.kind]


def _uncertainty(covariance: FloatArray, count: int) -> float:
    """Return the root mean square, over all pairs, of the uncertainty of a difference."""
    among = covariance[:count, :count]
    return _spread(float(np.trace(among)), float(among.sum()), count)


def _spread(trace: float, total: float, count: int) -> float:
    """Return that uncertainty from the trace of a covariance and the sum of its entries."""
    if count < 2:
        return 0.0
    return math.sqrt(max(0.0, (2 * count * trace - 2 * total) / (count * (count - 1))))

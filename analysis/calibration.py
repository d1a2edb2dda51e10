"""Compare two instruments, and assign a power to a reference rotor."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from analysis.columns import FloatArray
from analysis.errors import AnalysisError
from analysis.reasons import reason

FINE = (0.95, 1.05)  # [-], of a ratio of readings
POSSIBLE = (0.5, 2.0)  # [-], outside these limits a unit was mixed up
LEAST_RUNS, LEAST_DAYS = 10, 3  # before a reference rotor's power is assigned


@dataclass(frozen=True, slots=True)
class InstrumentRatio:
    """Ratio of two instruments' readings, its relative standard uncertainty and a verdict."""

    ratio: float
    u: float | None
    pairs: int
    verdict: Literal["fine", "look"]


@dataclass(frozen=True, slots=True)
class AssignedPower:
    """A reference rotor's power in the reference wind and air, with its standard uncertainty."""

    power_w: float
    u: float
    runs: int
    days: int


def compare_instruments(
    reading: FloatArray | list[float], reference: FloatArray | list[float]
) -> InstrumentRatio:
    """Return the ratio of two instruments' readings, side by side in the same wind or circuit.

    Parameters
    ----------
    reading, reference : array-like of float, shape (n,)
        Readings of the two instruments at the same time, above 0. [same unit]

    Returns
    -------
    InstrumentRatio
        The geometric mean of the ratios; its uncertainty is that of a mean (JCGM 100:2008, 4.2.3),
        None for a single pair. `look` beyond 5 %.

    Raises
    ------
    AnalysisError
        If the ratio is below 0.5 or above 2: one of them shows another unit.

    Examples
    --------
    >>> compare_instruments([4.1, 4.2, 4.0], [4.0, 4.1, 3.9]).ratio.__round__(3)
    1.025
    """
    ln_ratio = np.log(np.asarray(reading, dtype=float) / np.asarray(reference, dtype=float))
    ratio = float(np.exp(np.mean(ln_ratio)))
    if not POSSIBLE[0] <= ratio <= POSSIBLE[1]:
        raise AnalysisError(reason("instruments_apart", ratio=ratio))
    pairs = len(ln_ratio)
    u = float(np.std(ln_ratio, ddof=1) / np.sqrt(pairs)) if pairs > 1 else None
    return InstrumentRatio(ratio, u, pairs, "fine" if FINE[0] <= ratio <= FINE[1] else "look")


def assign_power(power_w: FloatArray, runs: FloatArray, day: FloatArray) -> AssignedPower:
    """Return the power to assign to a reference rotor, from its trials at one bench.

    Parameters
    ----------
    power_w : array of float, shape (n,)
        Normalised power of each trial. [W]
    runs : array of int, shape (n,)
        Runs of each trial.
    day : array, shape (n,)
        Day on which each trial was run.

    Returns
    -------
    AssignedPower
        The geometric mean over days of the geometric means over runs. Runs of one day share its
        air, its mains and the placement of the rotor, so the days are the independent readings,
        and the uncertainty is that of their mean (JCGM 100:2008, 4.2.3).

    Raises
    ------
    AnalysisError
        With fewer than ten runs or three days.

    Examples
    --------
    >>> power = np.array([0.060, 0.062, 0.061, 0.059])
    >>> assigned = assign_power(power, np.array([3, 3, 3, 3]), np.array([1, 1, 2, 3]))
    >>> round(assigned.power_w, 5), assigned.runs, assigned.days
    (0.06032, 12, 3)
    """
    days = np.unique(day)
    if runs.sum() < LEAST_RUNS or len(days) < LEAST_DAYS:
        raise AnalysisError(
            reason(
                "too_few_to_assign",
                runs=int(runs.sum()),
                days=len(days),
                least_runs=LEAST_RUNS,
                least_days=LEAST_DAYS,
            )
        )
    ln_power = np.log(power_w)
    daily = [np.average(ln_power[day == each], weights=runs[day == each]) for each in days]
    u = float(np.std(daily, ddof=1) / np.sqrt(len(days)))
    return AssignedPower(float(np.exp(np.mean(daily))), u, int(runs.sum()), len(days))

"""What the reference rotor says of a day's drift, taken off the runs in between."""

from dataclasses import dataclass

import numpy as np

from analysis.columns import FloatArray
from analysis.errors import AnalysisError

LEAST_RUNS = 2  # of the reference rotor
MOST_DRIFT = 0.06  # [-], of ln power, beyond which officials decide


@dataclass(frozen=True, slots=True)
class DriftCorrection:
    """Powers with a day's drift taken off, and how far the reference rotor moved in ln power."""

    power_w: FloatArray
    drift: float
    needs_decision: bool


def take_off_drift(
    position: FloatArray,
    power_w: FloatArray,
    reference_position: FloatArray,
    reference_power_w: FloatArray,
) -> DriftCorrection:
    """Return powers as they would have been had the reference rotor not moved.

    Parameters
    ----------
    position, power_w : array of float, shape (n,)
        When each run was, in places of the order or in time, and what it gave. [any], [W]
    reference_position, reference_power_w : array of float, shape (m,)
        The same of the reference rotor's runs, two or more. [any], [W]

    Returns
    -------
    DriftCorrection
        ln P − (ln P_ref(t) − mean ln P_ref), the reference interpolated linearly and held at its
        first and last run outside them. `drift` is largest less smallest ln P_ref.

    Raises
    ------
    AnalysisError
        For fewer than two runs of the reference rotor.

    Examples
    --------
    The reference rotor falls from 60 to 54 mW; a run half-way gets neither more nor less.

    >>> found = take_off_drift(np.array([5.0]), np.array([0.05]), np.array([0.0, 10.0]),
    ...     np.array([0.060, 0.054]))
    >>> round(float(found.power_w[0]), 4), round(found.drift, 3), found.needs_decision
    (0.05, 0.105, True)
    """
    if len(reference_position) < LEAST_RUNS:
        raise AnalysisError("drift takes two runs of the reference rotor or more")
    order = np.argsort(reference_position)
    ln_reference = np.log(reference_power_w[order])
    then = np.interp(position, reference_position[order], ln_reference)
    drift = float(np.ptp(ln_reference))
    ln_power = np.log(power_w) - (then - float(np.mean(ln_reference)))
    return DriftCorrection(np.exp(ln_power), drift, drift > MOST_DRIFT)

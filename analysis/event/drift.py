"""Correct the runs of a day for the drift that the reference rotor shows."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.errors import AnalysisError
from analysis.numeric.groups import group_by

LEAST_RUNS = 2  # of the reference rotor
MOST_DRIFT = 0.06  # [-], of ln power; above it officials decide


@dataclass(frozen=True, slots=True)
class DriftCorrection:
    """Powers corrected for a day's drift, and the drift of the reference rotor in ln power."""

    power_w: FloatArray
    drift: float
    needs_decision: bool


def correct_drift(
    position: FloatArray,
    power_w: FloatArray,
    reference_position: FloatArray,
    reference_power_w: FloatArray,
    rotor: npt.ArrayLike | None = None,
) -> DriftCorrection:
    """Return powers corrected for the drift of the reference rotor.

    Parameters
    ----------
    position, power_w : array of float, shape (n,)
        Position of each run in the order or in time, and its power. [any], [W]
    reference_position, reference_power_w : array of float, shape (m,)
        The same for the reference rotor's runs, two or more. [any], [W]
    rotor : array, shape (m,), optional
        Which rotor ran, if there are several: each is compared with its own mean, and a rotor that
        ran once is not used.

    Returns
    -------
    DriftCorrection
        ln P − (ln P_ref(t) − mean ln P_ref), the reference interpolated linearly and constant
        before its first and after its last run. `drift` is largest less smallest ln P_ref.

    Raises
    ------
    AnalysisError
        With fewer than two runs of the reference rotor.

    Examples
    --------
    The reference rotor falls from 60 to 54 mW; a run half-way gets neither more nor less.

    >>> corrected = correct_drift(np.array([5.0]), np.array([0.05]), np.array([0.0, 10.0]),
    ...     np.array([0.060, 0.054]))
    >>> round(float(corrected.power_w[0]), 4), round(corrected.drift, 3), corrected.needs_decision
    (0.05, 0.105, True)
    """
    rotors = group_by(np.zeros(len(reference_position)) if rotor is None else np.asarray(rotor))
    counted = rotors.count()[rotors.codes] >= LEAST_RUNS
    if not counted.any():
        raise AnalysisError("drift takes two runs of the reference rotor or more")
    ln_reference = np.log(reference_power_w)
    off = (ln_reference - rotors.mean(ln_reference)[rotors.codes])[counted]
    at = reference_position[counted]
    order = np.argsort(at)
    drift = float(np.ptp(off))
    ln_power = np.log(power_w) - np.interp(position, at[order], off[order])
    return DriftCorrection(np.exp(ln_power), drift, drift > MOST_DRIFT)

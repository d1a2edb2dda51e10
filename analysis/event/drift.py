"""What the reference rotor says of a day's drift, taken off the runs in between."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.errors import AnalysisError
from analysis.numeric.groups import group_by

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
    rotor: npt.ArrayLike | None = None,
) -> DriftCorrection:
    """Return powers as they would have been had the reference rotor not moved.

    Parameters
    ----------
    position, power_w : array of float, shape (n,)
        When each run was, in places of the order or in time, and what it gave. [any], [W]
    reference_position, reference_power_w : array of float, shape (m,)
        The same of the reference rotor's runs, two or more. [any], [W]
    rotor : array, shape (m,), optional
        Which rotor ran, where there are several: each is held against its own mean, and one that
        ran once tells nothing of drift.

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

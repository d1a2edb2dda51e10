"""Find slipped decimal points: values that are off by a factor of ten, a hundred or a thousand."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

#: Powers of ten by which a value is off with a slipped decimal point or a missing milli prefix.
#: Common practice, no source.
PLACES = (1, 2, 3, -1, -2, -3)
#: Largest range of readings of one trial that agree, and largest distance of a slipped reading
#: from its power of ten; of ln value. The latter is twice the largest range of three sound runs
#: (0.13 in ln power).
AGREE, NEAR = 0.13, 0.26
#: Voltages that a model turbine gives across its load. [V] Common practice, no source.
LEAST_V, MOST_V = 0.02, 20.0


@dataclass(frozen=True, slots=True)
class Slipped:
    """A slipped reading: its position, and the factor that corrects it."""

    position: int
    factor: float


def places_off(value: float, expected: float, tolerance: float) -> int:
    """Return the number of decimal places by which a value differs from the expected one.

    Parameters
    ----------
    value, expected : float
        The value, and the usual one; above 0. [same]
    tolerance : float
        Largest distance of ln(value/expected) from that of a power of ten. [-]

    Returns
    -------
    int
        1, 2 or 3 if the value is too large, -1, -2 or -3 if it is too small, else 0.

    Examples
    --------
    >>> places_off(0.016, 0.1645, 0.1), places_off(1.25, 1.2, 0.1), places_off(1200, 1.2, 0.1)
    (-1, 0, 3)
    """
    ratio = math.log(value / expected)
    near = (each for each in PLACES if abs(ratio - each * math.log(10)) <= tolerance)
    return next(near, 0)


def slipped_reading(readings: Sequence[float]) -> Slipped | None:
    """Return the reading whose decimal point slipped, if the others agree on its value.

    Parameters
    ----------
    readings : sequence of float
        Readings of one setting; with one of zero or less, the result is None. [V]

    Returns
    -------
    Slipped or None
        None if no single shift makes all readings agree. Of two readings, the one outside the range
        of a model turbine is returned; None if both readings are plausible.

    Examples
    --------
    >>> slipped_reading([0.016, 0.166, 0.163])
    Slipped(position=0, factor=10.0)
    >>> slipped_reading([0.12, 1.2]) is None
    True
    >>> slipped_reading([0.0012, 1.2]).factor
    1000.0
    """
    if len(readings) < 2 or min(readings) <= 0:
        return None
    slipped = []
    for position, value in enumerate(readings):
        others = [each for at, each in enumerate(readings) if at != position]
        off = places_off(value, median(others), NEAR)
        if off and math.log(max(others) / min(others)) <= AGREE:
            slipped.append(Slipped(position, 10.0**-off))
    if len(slipped) == 2:
        slipped = [each for each in slipped if not LEAST_V <= readings[each.position] <= MOST_V]
    return slipped[0] if len(slipped) == 1 else None

"""Decimal points that slipped: a value ten, a hundred or a thousand times off what it should be."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

#: Powers of ten by which a decimal point or a milli slips. Common practice, no source.
PLACES = (1, 2, 3, -1, -2, -3)
#: How far readings of one trial may lie apart and still agree, and how far a slipped one may lie
#: from its power of ten; ln value. Twice the largest range of three sound runs (0.13 in ln power).
AGREE, NEAR = 0.13, 0.26
#: Voltages that a model turbine gives across its load. [V] Common practice, no source.
LEAST_V, MOST_V = 0.02, 20.0


@dataclass(frozen=True, slots=True)
class Slipped:
    """One reading among others: its position, and the factor that brings it to them."""

    position: int
    factor: float


def places_off(value: float, expected: float, tolerance: float) -> int:
    """Return by how many decimal places a value is off what is expected, 0 if by none.

    Parameters
    ----------
    value, expected : float
        What is given, and what is usual; above 0. [same]
    tolerance : float
        How far ln(value/expected) may lie from that of a power of ten. [-]

    Returns
    -------
    int
        1, 2 or 3 where the value is too large, -1, -2 or -3 where it is too small, else 0.

    Examples
    --------
    >>> places_off(0.016, 0.1645, 0.1), places_off(1.25, 1.2, 0.1), places_off(1200, 1.2, 0.1)
    (-1, 0, 3)
    """
    ratio = math.log(value / expected)
    near = (each for each in PLACES if abs(ratio - each * math.log(10)) <= tolerance)
    return next(near, 0)


def slipped_reading(readings: Sequence[float]) -> Slipped | None:
    """Return the one reading whose decimal point slipped, if the others agree on its value.

    Parameters
    ----------
    readings : sequence of float
        Readings of one setting; zero and less tell nothing. [V]

    Returns
    -------
    Slipped or None
        None where no single shift makes all readings agree. Of two readings, the one is meant that
        no model turbine gives; where both could be, none is returned.

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
    found = []
    for position, value in enumerate(readings):
        others = [each for at, each in enumerate(readings) if at != position]
        off = places_off(value, median(others), NEAR)
        if off and math.log(max(others) / min(others)) <= AGREE:
            found.append(Slipped(position, 10.0**-off))
    if len(found) == 2:
        found = [each for each in found if not LEAST_V <= readings[each.position] <= MOST_V]
    return found[0] if len(found) == 1 else None

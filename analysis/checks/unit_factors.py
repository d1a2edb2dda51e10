"""Find values in a wrong unit: the unit that explains a value best, and the intended value."""

import math
from dataclasses import dataclass

#: How many of each unit are one of the right unit (m/s, m).
WIND_UNITS = {"mph": 2.2369, "km/h": 3.6, "knots": 1.9438, "ft/s": 3.2808, "ft/min": 196.85}
DIAMETER_SLIPS = {
    "inches": 39.37, "inches_as_centimetres": 0.3937, "centimetres": 100.0,
    "millimetres": 1000.0, "radius": 0.5, "twice": 2.0,
}  # fmt: skip
TOLERATED = 2.0  # standard deviations of ln value


@dataclass(frozen=True, slots=True)
class Slip:
    """A wrong unit that explains a value, and the intended value."""

    unit: str
    meant: float


def find_slip(
    value: float, expected: float, tolerance: float, units: dict[str, float]
) -> Slip | None:
    """Return the wrong unit that explains a value best, if any does.

    Parameters
    ----------
    value, expected : float
        The value, and the usual one; above 0. [same]
    tolerance : float
        Standard deviation of ln value about the usual one. [-]
    units : dict of str to float
        How many of each unit are one of the right one.

    Returns
    -------
    Slip or None
        None if the value is within two standard deviations of the usual one, or if no unit brings
        it there.

    Notes
    -----
    If several units are possible, the nearest one is returned: miles per hour and knots differ by
    15 % only.

    Examples
    --------
    >>> slip = find_slip(9.4, 4.2, 0.20, WIND_UNITS)
    >>> slip.unit, round(slip.meant, 2)
    ('mph', 4.2)
    >>> find_slip(5.0, 4.2, 0.20, WIND_UNITS) is None
    True
    """
    ratio = math.log(value / expected)
    if abs(ratio) <= TOLERATED * tolerance:
        return None
    unit = min(units, key=lambda name: abs(ratio - math.log(units[name])))
    if abs(ratio - math.log(units[unit])) > TOLERATED * tolerance:
        return None
    return Slip(unit, value / units[unit])

"""Calculate power from the voltage across a resistor, and the uncertainty of a hand meter."""

import math

import numpy as np
import numpy.typing as npt

from analysis.columns import Numeric
from analysis.errors import InvalidInput

DEFAULT_METER_PERCENT = (
    0.8  # [% of reading], a meter without a data sheet; common practice, no source
)
DEFAULT_METER_DIGITS = 3  # [counts of the last digit], same
DEFAULT_METER_COUNTS = 1999  # [-], a 3½-digit display
DEFAULT_VOLTAGE_UNCERTAINTY = 0.004  # [-], where the meter's range was not noted
DEFAULT_LOAD_UNCERTAINTY = 0.009  # [-], a resistor measured with a hand meter


def power_from_voltage(voltage_v: Numeric, load_ohm: Numeric) -> Numeric:
    """Return the power that a voltage across a load resistor delivers.

    Parameters
    ----------
    voltage_v : float or array-like, shape (n,)
        Direct voltage across the connected load; the sign does not matter. [V]
    load_ohm : float or array-like, shape (n,)
        Load resistance as measured. [Ω]

    Returns
    -------
    float or array-like, shape (n,)
        Electrical power, V²/R. [W]

    Examples
    --------
    >>> round(power_from_voltage(1.2, 30.1), 5)
    0.04784
    """
    return voltage_v**2 / load_ohm


def power_from_current(current_a: Numeric, load_ohm: Numeric) -> Numeric:
    """Return the power that a current through a load resistor delivers.

    Parameters
    ----------
    current_a : float or array-like, shape (n,)
        Current through the load. [A]
    load_ohm : float or array-like, shape (n,)
        Load resistance as measured. [Ω]

    Returns
    -------
    float or array-like, shape (n,)
        Electrical power, I²R. [W]

    Examples
    --------
    >>> power_from_current(0.5, 8.0)
    2.0
    """
    return current_a**2 * load_ohm


def power_from_series(voltages_v: npt.ArrayLike, load_ohm: float) -> float:
    """Return the mean power of logged voltages: the mean of their squares over the load.

    Parameters
    ----------
    voltages_v : array-like, shape (n,)
        Voltages at equal steps of time. [V]
    load_ohm : float
        Load resistance as measured. [Ω]

    Returns
    -------
    float
        Mean power; squaring the mean voltage instead would lose the ripple's share. [W]

    Raises
    ------
    InvalidInput
        Without a voltage, or with one that is not finite.

    Examples
    --------
    >>> power_from_series([0.0, 4.0], 8.0)
    1.0
    """
    return mean_square(voltages_v) / load_ohm


def mean_square(voltages_v: npt.ArrayLike) -> float:
    """Return the mean of the squares of logged voltages.

    Parameters
    ----------
    voltages_v : array-like, shape (n,)
        Voltages at equal steps of time. [V]

    Returns
    -------
    float
        Mean square. [V²]

    Raises
    ------
    InvalidInput
        Without a voltage, or with one that is not finite.

    Examples
    --------
    >>> mean_square([3.0, 4.0])
    12.5
    """
    voltages = np.asarray(voltages_v, dtype=float)
    if voltages.size == 0 or not np.all(np.isfinite(voltages)):
        raise InvalidInput("need one finite voltage or more")
    return float(np.mean(voltages**2))


def meter_resolution(meter_range_v: Numeric, counts: Numeric) -> Numeric:
    """Return the resolution of a meter on a range: the value of its last digit.

    Parameters
    ----------
    meter_range_v : float or array-like, shape (n,)
        Range as printed next to the dial. [V]
    counts : float or array-like, shape (n,)
        Largest number the display can show, such as 1999. [-]

    Returns
    -------
    float or array-like, shape (n,)
        Resolution. [V]

    Examples
    --------
    >>> meter_resolution(20.0, 1999.0)
    0.01
    """
    return meter_range_v / (counts + 1)


def meter_standard_uncertainty(
    reading: Numeric, percent: Numeric, digits: Numeric, resolution: Numeric
) -> Numeric:
    """Return the standard uncertainty of a digital meter's reading.

    Parameters
    ----------
    reading : float or array-like, shape (n,)
        Reading on the display. [V, or the reading's own unit]
    percent : float or array-like, shape (n,)
        Accuracy as a share of the reading. [%]
    digits : float or array-like, shape (n,)
        Counts of the last digit to add. [-]
    resolution : float or array-like, shape (n,)
        Value of the last digit. [unit of the reading]

    Returns
    -------
    float or array-like, shape (n,)
        Limits read as rectangular: half width over √3. [unit of the reading]

    References
    ----------
    .. [1] JCGM 100:2008, clause 4.3.7, equation (7), read in the Guide's Russian edition at
       ajdocs.ru.

    Examples
    --------
    >>> round(meter_standard_uncertainty(6.5, 0.5, 2, 0.01), 6)
    0.030311
    """
    return (abs(reading) * percent / 100 + digits * resolution) / math.sqrt(3)


def resistor_standard_uncertainty(load_ohm: Numeric, tolerance_pct: Numeric) -> Numeric:
    """Return the standard uncertainty of a resistor whose value is read from its colour code.

    Parameters
    ----------
    load_ohm : float or array-like, shape (n,)
        Nominal resistance. [Ω]
    tolerance_pct : float or array-like, shape (n,)
        Printed tolerance. [%]

    Returns
    -------
    float or array-like, shape (n,)
        Limits read as rectangular. [Ω]

    References
    ----------
    .. [1] JCGM 100:2008, clause 4.3.7, equation (7), read in the Guide's Russian edition at
       ajdocs.ru.

    Examples
    --------
    >>> round(resistor_standard_uncertainty(100.0, 5.0), 2)
    2.89
    """
    return load_ohm * tolerance_pct / 100 / math.sqrt(3)

"""How uncertain parts become one uncertainty, and an uncertainty an interval.

All `u_…` are relative standard uncertainties (k = 1), which on the natural-log
scale are plain standard deviations: 0.05 reads "5 %".
"""

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, Numeric
from analysis.errors import InvalidInput

COVERAGE_FACTOR = 2  # [-], about 95 % of a normal distribution


def combine(*components: Numeric) -> Numeric:
    """Return the combined standard uncertainty of independent parts.

    Parameters
    ----------
    *components : float or array-like, shape (n,)
        Standard uncertainties, each already times its sensitivity. [one unit for all]

    Returns
    -------
    float or array-like, shape (n,)
        Root of the sum of squares. [same unit]

    References
    ----------
    .. [1] JCGM 100:2008, clause 5.1.2, equation (10). Clause [memory].

    Examples
    --------
    >>> combine(0.03, 0.04)
    0.05
    """
    squares: Numeric = sum(part**2 for part in components)  # type: ignore[assignment]  # sum starts at 0
    root: Numeric = squares**0.5
    return root


def welch_satterthwaite(components: npt.ArrayLike, degrees_of_freedom: npt.ArrayLike) -> float:
    """Return the effective degrees of freedom of a combined uncertainty.

    Parameters
    ----------
    components : array-like, shape (n,)
        Standard uncertainties, each already times its sensitivity. [one unit for all]
    degrees_of_freedom : array-like, shape (n,)
        Degrees of freedom of each part; infinite where a limit is known surely. [-]

    Returns
    -------
    float
        Effective degrees of freedom, infinite where no part with few of them counts. [-]

    Raises
    ------
    InvalidInput
        When the lists differ in length, nothing is uncertain, or a freedom is not positive.

    References
    ----------
    .. [1] JCGM 100:2008, annex G.4.1, equation (G.2b). Clause [memory].

    Examples
    --------
    >>> round(welch_satterthwaite([0.25, 0.57, 0.82], [9, 4, 14]), 1)
    19.0
    """
    parts = np.asarray(components, dtype=float)
    freedom = np.asarray(degrees_of_freedom, dtype=float)
    if parts.shape != freedom.shape or not parts.any():
        raise InvalidInput("need as many degrees of freedom as parts, and a part above zero")
    if not np.all(freedom > 0):
        raise InvalidInput("degrees of freedom must be above zero")
    few = float(np.sum(parts**4 / freedom))
    return float(np.sum(parts**2)) ** 2 / few if few > 0 else float("inf")


def interval(value: Numeric, u_total: Numeric) -> tuple[Numeric, Numeric]:
    """Return the limits between which the true value lies with about 95 %.

    Parameters
    ----------
    value : float or array-like, shape (n,)
        A positive value. [any]
    u_total : float or array-like, shape (n,)
        Relative standard uncertainty. [-]

    Returns
    -------
    tuple of float or array-like, shape (n,)
        Lower and upper limit, k = 2 on the logarithmic scale. [as the value]

    Examples
    --------
    >>> [round(float(limit), 1) for limit in interval(43.9, 0.152)]
    [32.4, 59.5]
    """
    factor = np.exp(COVERAGE_FACTOR * u_total)
    return value / factor, value * factor


def own_uncertainty(
    *,
    u_repeat: FloatArray,
    u_session: FloatArray,
    ln_wind_ratio: FloatArray,
    ln_density_ratio: FloatArray,
    u_wind_exponent: FloatArray,
    u_density_exponent: FloatArray,
) -> FloatArray:
    """Return the part of the uncertainty that belongs to one trial alone.

    Parameters
    ----------
    u_repeat, u_session : array, shape (n,)
        Standard uncertainty of ln power from the scatter of its runs and of its sitting. [-]
    ln_wind_ratio, ln_density_ratio : array, shape (n,)
        Logarithm of reference over measured wind speed and air density. [-]
    u_wind_exponent, u_density_exponent : array, shape (n,)
        Standard uncertainty of the exponents. [-]

    Returns
    -------
    array, shape (n,)
        `u_own`. [-]

    References
    ----------
    .. [1] JCGM 100:2008, clause 5.1.2, applied to ln P. Clause [memory].

    Examples
    --------
    >>> one = np.ones(1)
    >>> own_uncertainty(u_repeat=0.04 / 3**0.5 * one, u_session=0.03 * one, ln_wind_ratio=0 * one,
    ...     ln_density_ratio=0 * one, u_wind_exponent=0.4 * one,
    ...     u_density_exponent=0.3 * one).round(4).tolist()
    [0.0379]
    """
    wind = ln_wind_ratio * u_wind_exponent
    density = ln_density_ratio * u_density_exponent
    return combine(u_repeat, u_session, wind, density)


def bench_uncertainty(
    *,
    u_voltage: FloatArray,
    u_load: FloatArray,
    u_wind_speed: FloatArray,
    u_air_density: FloatArray,
    wind_exponent: FloatArray,
    density_exponent: FloatArray,
) -> FloatArray:
    """Return the part of the uncertainty that all trials at one bench share.

    Parameters
    ----------
    u_voltage, u_load, u_wind_speed, u_air_density : array, shape (n,)
        Relative standard uncertainties of the inputs. [-]
    wind_exponent, density_exponent : array, shape (n,)
        Exponents used, which are the sensitivities. [-]

    Returns
    -------
    array, shape (n,)
        `u_bench`. [-]

    References
    ----------
    .. [1] JCGM 100:2008, clause 5.1.2, applied to ln P. Clause [memory].

    Examples
    --------
    >>> one = np.ones(1)
    >>> bench_uncertainty(u_voltage=0.004 * one, u_load=0.009 * one, u_wind_speed=0.055 * one,
    ...     u_air_density=0.01 * one, wind_exponent=2.6 * one,
    ...     density_exponent=0.5 * one).round(3).tolist()
    [0.144]
    """
    return combine(
        2 * u_voltage, u_load, wind_exponent * u_wind_speed, density_exponent * u_air_density
    )

"""Combine uncertainties, and calculate intervals from them.

All `u_…` are relative standard uncertainties (k = 1), which on the natural-log
scale are plain standard deviations: 0.05 reads "5 %".
"""

import math

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, Numeric
from analysis.errors import InvalidInput
from analysis.numeric.distributions import normal_cdf, student_t_quantile

COVERAGE_FACTOR = 2  # [-], about 95 % of a normal distribution
FEW_DEGREES_OF_FREEDOM = 10  # with fewer, Student's t replaces the factor 2
#: Largest uncertainty in ln that is used, so that floats do not overflow.
WIDEST = 300.0  # [-]


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
    .. [1] JCGM 100:2008, clause 5.1.2, equation (10), read at iso.org/sites/JCGM/GUM.

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
        Degrees of freedom of each part; infinite where a limit is known exactly. [-]

    Returns
    -------
    float
        Effective degrees of freedom, infinite if no part above 0 has finite ones. [-]

    Raises
    ------
    InvalidInput
        If the lists differ in length, all parts are 0, or degrees of freedom are not positive.

    References
    ----------
    .. [1] JCGM 100:2008, annex G.4.1, equation (G.2b), as the source of SymbolicUncertainties.jl
       quotes it.

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


def interval(
    value: Numeric, u_total: Numeric, factor: Numeric | float = COVERAGE_FACTOR
) -> tuple[Numeric, Numeric]:
    """Return the limits that contain the true value with a probability of about 95 %.

    Parameters
    ----------
    value : float or array-like, shape (n,)
        A positive value. [any]
    u_total : float or array-like, shape (n,)
        Relative standard uncertainty. [-]
    factor : float or array-like, shape (n,), optional
        Standard uncertainties to either side. [-]

    Returns
    -------
    tuple of float or array-like, shape (n,)
        Lower and upper limit on the logarithmic scale. [as the value]

    Examples
    --------
    >>> [round(float(limit), 1) for limit in interval(43.9, 0.152)]
    [32.4, 59.5]
    """
    reach = np.exp(np.minimum(factor * u_total, WIDEST))
    return value / reach, value * reach


def percent(ln_effect: float) -> float:
    """Return a difference of ln power as percent of power.

    Parameters
    ----------
    ln_effect : float
        Difference of natural logarithms. [-]

    Returns
    -------
    float
        Percent. [%]

    Examples
    --------
    >>> round(percent(0.10), 1)
    10.5
    """
    return 100 * math.expm1(ln_effect)


def own_uncertainty(
    *,
    u_repeat: FloatArray,
    u_session: FloatArray,
    exponent_lever: FloatArray,
    ln_density_ratio: FloatArray,
    u_wind_exponent: FloatArray,
    u_density_exponent: FloatArray,
) -> FloatArray:
    """Return the part of the uncertainty that belongs to one trial only.

    Parameters
    ----------
    u_repeat, u_session : array, shape (n,)
        Standard uncertainty of ln power from the scatter of its runs and of its session. [-]
    exponent_lever, ln_density_ratio : array, shape (n,)
        Sensitivity of ln power to the wind exponent and to the density exponent: the logarithm of
        reference over measured wind speed, plus the share through a density exponent calculated
        from it; and the logarithm of reference over measured air density. [-]
    u_wind_exponent, u_density_exponent : array, shape (n,)
        Standard uncertainty of the exponents. [-]

    Returns
    -------
    array, shape (n,)
        `u_own`. [-]

    References
    ----------
    .. [1] JCGM 100:2008, clause 5.1.2, applied to ln P, read at iso.org/sites/JCGM/GUM.

    Examples
    --------
    >>> one = np.ones(1)
    >>> own_uncertainty(u_repeat=0.04 / 3**0.5 * one, u_session=0.03 * one, exponent_lever=0 * one,
    ...     ln_density_ratio=0 * one, u_wind_exponent=0.4 * one,
    ...     u_density_exponent=0.3 * one).round(4).tolist()
    [0.0379]
    """
    wind = exponent_lever * u_wind_exponent
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
    .. [1] JCGM 100:2008, clause 5.1.2, applied to ln P, read at iso.org/sites/JCGM/GUM.

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


def region_uncertainty(
    u_bench: float, runs: int = 10, days: int = 3, *, u_run: float = 0.04, u_day: float = 0.03
) -> float:
    """Return the part of the uncertainty that all fair powers of a region share.

    Parameters
    ----------
    u_bench : float
        Uncertainty of the bench at which the reference rotor's power was assigned. [-]
    runs, days : int, optional
        Number of runs and of days that the assigned power is based on. [-]
    u_run, u_day : float, optional
        Scatter of a run and of a day. [-]

    Returns
    -------
    float
        `u_region`: it matters for power in watts, and cancels in every comparison. [-]

    Examples
    --------
    >>> round(region_uncertainty(0.146), 3)
    0.148
    """
    return math.hypot(u_bench, u_run / math.sqrt(runs), u_day / math.sqrt(days))


def coverage_factor(
    u_total: FloatArray, u_seen: FloatArray, degrees_of_freedom: FloatArray
) -> FloatArray:
    """Return the coverage factor of an interval of about 95 %.

    Parameters
    ----------
    u_total : array, shape (n,)
        Combined standard uncertainty. [-]
    u_seen : array, shape (n,)
        Its part that was estimated from the scatter of few readings; 0 if there is none. [-]
    degrees_of_freedom : array, shape (n,)
        Degrees of freedom of that part. [-]

    Returns
    -------
    array, shape (n,)
        2; with fewer than ten effective degrees of freedom, Student's t at the same probability
        (95.45 %). [-]

    References
    ----------
    .. [1] JCGM 100:2008, annex G.4, equation (G.2b) with one part of finite degrees of freedom, and
       table G.2, as SymbolicUncertainties.jl and a calibration program's source quote them.

    Examples
    --------
    >>> u_scatter = np.array([0.05])
    >>> coverage_factor(u_scatter, u_scatter, np.array([2.0])).round(2).tolist()
    [4.53]
    >>> coverage_factor(np.array([0.15]), np.array([0.05]), np.array([2.0])).tolist()
    [2.0]
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = degrees_of_freedom * (u_total / u_seen) ** 4
    few = (u_seen > 0) & (degrees_of_freedom >= 1) & (effective < FEW_DEGREES_OF_FREEDOM)
    factor = np.full(len(u_total), float(COVERAGE_FACTOR))
    if few.any():
        probability = normal_cdf(float(COVERAGE_FACTOR))
        factor[few] = [student_t_quantile(probability, each) for each in effective[few]]
    return factor

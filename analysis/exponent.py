"""Fit the exponents of power in wind and air at a fixed load, and normalise power with them.

At a fixed load power does not follow the cube of the wind: an under-loaded
rotor behaves as a speed source (towards the square), an overloaded one falls
towards stall (above the cube). Until a build has a wind sweep of its own the
default exponents are used, with a large uncertainty.
"""

import math
from dataclasses import dataclass
from typing import Generic

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, Numeric, TextArray
from analysis.errors import InvalidInput, TooFewTrials
from analysis.numeric.least_squares import Fit, ordinary_least_squares
from analysis.reasons import reason

DEFAULT_WIND_EXPONENT = 2.6  # [-]
DEFAULT_WIND_EXPONENT_UNCERTAINTY = 0.4  # [-]
DEFAULT_DENSITY_EXPONENT = 0.5  # [-]
DEFAULT_DENSITY_EXPONENT_UNCERTAINTY = 0.3  # [-]

REFERENCE_WIND_SPEED_M_S = 4.0  # [m/s]
REFERENCE_AIR_DENSITY_KG_M3 = 1.225  # [kg/m³], ISO 2533:1975, sea level

#: Status of a normalised power, with its limits of measured over reference wind speed. [-]
BANDS = (("direct", 0.95, 1.05), ("default", 0.90, 1.10), ("provisional", 0.80, 1.25))
OUT_OF_RANGE = "out_of_range"
ROUNDING = 1e-9  # [-], so that 4.2 over 4.0 counts as inside 1.05


def normalise(
    power_w: Numeric,
    wind_speed_m_s: Numeric,
    air_density_kg_m3: Numeric,
    *,
    reference_wind_speed_m_s: Numeric | float = REFERENCE_WIND_SPEED_M_S,
    reference_air_density_kg_m3: Numeric | float = REFERENCE_AIR_DENSITY_KG_M3,
    wind_exponent: Numeric | float = DEFAULT_WIND_EXPONENT,
    density_exponent: Numeric | float = DEFAULT_DENSITY_EXPONENT,
) -> Numeric:
    """Return the power a build would give in the reference wind and air.

    Parameters
    ----------
    power_w : float or array-like, shape (n,)
        Measured power. [W]
    wind_speed_m_s : float or array-like, shape (n,)
        Wind speed it was measured at, within 0.80 to 1.25 of the reference. [m/s]
    air_density_kg_m3 : float or array-like, shape (n,)
        Air density it was measured in. [kg/m³]
    reference_wind_speed_m_s, reference_air_density_kg_m3 : float or array-like, optional
        The season's reference. [m/s], [kg/m³]
    wind_exponent, density_exponent : float or array-like, optional
        How power follows wind and density at this load. [-]

    Returns
    -------
    float or array-like, shape (n,)
        Normalised power. [W]

    Notes
    -----
    ln P_N = ln P + n ln(v_ref/v) + m ln(ρ_ref/ρ). A wrong exponent Δn costs
    about |Δn| |ln(v/v_ref)|: 4 % at 10 % from the reference with Δn = 0.4.

    Examples
    --------
    >>> round(normalise(0.04784, 4.2, 1.116), 5)
    0.04415
    """
    wind = (reference_wind_speed_m_s / wind_speed_m_s) ** wind_exponent
    air = (reference_air_density_kg_m3 / air_density_kg_m3) ** density_exponent
    normalised: Numeric = power_w * wind * air
    return normalised


def textbook_cubic(
    power_w: Numeric,
    wind_speed_m_s: Numeric,
    air_density_kg_m3: Numeric,
    *,
    reference_wind_speed_m_s: Numeric | float = REFERENCE_WIND_SPEED_M_S,
    reference_air_density_kg_m3: Numeric | float = REFERENCE_AIR_DENSITY_KG_M3,
) -> Numeric:
    """Return power by the textbook's cube rule, which assumes a load re-tuned at each wind.

    Parameters
    ----------
    power_w, wind_speed_m_s, air_density_kg_m3 : float or array-like, shape (n,)
        As measured. [W], [m/s], [kg/m³]
    reference_wind_speed_m_s, reference_air_density_kg_m3 : float or array-like, optional
        The season's reference. [m/s], [kg/m³]

    Returns
    -------
    float or array-like, shape (n,)
        P (v_ref/v)³ (ρ_ref/ρ). [W]

    Examples
    --------
    >>> round(textbook_cubic(0.04784, 4.2, 1.116), 4)
    0.0454
    """
    return normalise(
        power_w,
        wind_speed_m_s,
        air_density_kg_m3,
        reference_wind_speed_m_s=reference_wind_speed_m_s,
        reference_air_density_kg_m3=reference_air_density_kg_m3,
        wind_exponent=3.0,
        density_exponent=1.0,
    )


def normalisation_status(
    wind_ratio: FloatArray, is_own: npt.NDArray[np.bool_] | bool = False
) -> TextArray:
    """Return the status of each trial's normalised power, by its wind speed.

    Parameters
    ----------
    wind_ratio : array, shape (n,)
        Measured over reference wind speed; NaN where unknown. [-]
    is_own : array of bool, shape (n,), optional
        True where the build's own sweep covers that wind and the reference.

    Returns
    -------
    array of str, shape (n,)
        `direct` (near the reference, or by the build's own sweep), `default`, `provisional` or
        `out_of_range`; empty where the wind is unknown.

    Examples
    --------
    >>> normalisation_status(np.array([1.05, 1.1, 0.8, 1.3, np.nan])).tolist()
    ['direct', 'default', 'provisional', 'out_of_range', '']
    """
    within = [
        (wind_ratio >= low - ROUNDING) & (wind_ratio <= high + ROUNDING) for _, low, high in BANDS
    ]
    is_known = np.isfinite(wind_ratio)
    return np.select(
        [within[-1] & is_own, *within, is_known],
        [BANDS[0][0], *(name for name, _, _ in BANDS), OUT_OF_RANGE],
        "",
    )


ZERO_OFFSET_UNCERTAINTY = 0.14  # [-], of an exponent, from a wind meter's zero off by 0.2 m/s
PLAUSIBLE_EXPONENT = (1.5, 6.0)  # [-], a fitted exponent outside indicates a mistake
MIN_SPEEDS = 3
MIN_SPEED_RATIO = 1.3  # [-], largest over smallest speed of a sweep
IMPLAUSIBLE = "implausible_exponent"  # reason code of an exponent outside these limits
CURVED_BEYOND_T = 2.0  # [-], |t| of the squared term above which no power law fits
SWEEP_REACH = 0.05  # [-], how far a sweep may be extended


@dataclass(frozen=True, slots=True)
class WindExponent:
    """Wind exponent of one build at one load, fitted to its own sweep.

    `exponent` is the slope of ln P on ln v; where the curve bends (`is_power_law` false) it is the
    slope at the reference wind. `reason` says why it must not be used, and is empty if it may be.
    """

    exponent: float
    standard_error: float
    curvature_t: float | None
    is_power_law: bool
    speeds: int
    readings: int
    covers_m_s: tuple[float, float]
    reason: str


@dataclass(frozen=True, slots=True)
class Shrunk(Generic[Numeric]):
    """A fitted exponent shrunk towards the mean of other builds, by inverse variances."""

    exponent: Numeric
    standard_error: Numeric


def fit_wind_exponent(
    wind_speed_m_s: npt.ArrayLike,
    power_w: npt.ArrayLike,
    reference_wind_speed_m_s: float = REFERENCE_WIND_SPEED_M_S,
) -> WindExponent:
    """Return the wind exponent of a build from a sweep of wind speeds at one load.

    Parameters
    ----------
    wind_speed_m_s : array-like, shape (n,)
        Wind speed of each reading, above 0. [m/s]
    power_w : array-like, shape (n,)
        Power of each reading, above 0. [W]
    reference_wind_speed_m_s : float, optional
        Where the slope is taken if the curve bends. [m/s]

    Returns
    -------
    WindExponent
        Slope of ln P on ln v with its standard error.

    Raises
    ------
    InvalidInput
        With values that are not finite and above 0.
    TooFewTrials
        With fewer than three different speeds.

    Notes
    -----
    Ordinary least squares of ln P on ln v. With four speeds or more the square of ln v is tried;
    if its |t| is above 2, the local slope at the reference wind is used.

    Examples
    --------
    >>> fit = fit_wind_exponent([3, 4, 5, 3, 4, 5], [0.02, 0.045, 0.082, 0.021, 0.044, 0.081])
    >>> round(fit.exponent, 2), fit.reason
    (2.7, '')
    """
    ln_v, ln_p = _checked_sweep(wind_speed_m_s, power_w)
    speeds = len(np.unique(ln_v))
    if speeds < MIN_SPEEDS:
        raise TooFewTrials(reason("too_few_winds", least=MIN_SPEEDS, got=speeds))
    x = ln_v - math.log(reference_wind_speed_m_s)
    straight = ordinary_least_squares(np.column_stack([np.ones_like(x), x]), ln_p)
    curved, t = _curved_fit(x, ln_p, speeds)
    fit = straight if curved is None else curved
    covers = float(np.exp(ln_v.min())), float(np.exp(ln_v.max()))
    slope = float(fit.coefficients[1])
    return WindExponent(
        exponent=slope,
        standard_error=fit.standard_error(1),
        curvature_t=t,
        is_power_law=curved is None,
        speeds=speeds,
        readings=len(x),
        covers_m_s=covers,
        reason=_reason_not_usable(slope, covers, reference_wind_speed_m_s),
    )


def _checked_sweep(
    wind_speed_m_s: npt.ArrayLike, power_w: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    speed, power = np.asarray(wind_speed_m_s, dtype=float), np.asarray(power_w, dtype=float)
    if speed.shape != power.shape:
        raise InvalidInput("a sweep needs as many powers as wind speeds")
    both = np.concatenate([speed, power])
    if not np.all(np.isfinite(both) & (both > 0)):
        raise InvalidInput(reason("wind_or_power_zero"))
    return np.log(speed), np.log(power)


def _curved_fit(x: FloatArray, ln_p: FloatArray, speeds: int) -> tuple[Fit | None, float | None]:
    """Return the fit with a squared term if that term is significant, and its t value."""
    if speeds <= MIN_SPEEDS or len(x) <= MIN_SPEEDS + 1:
        return None, None
    fit = ordinary_least_squares(np.column_stack([np.ones_like(x), x, x**2]), ln_p)
    error = fit.standard_error(2)
    if error < 1e-9 * max(1.0, abs(float(fit.coefficients[1]))):
        return None, None  # noise-free readings: the remaining curvature is rounding
    t = float(fit.coefficients[2]) / error
    return (fit if abs(t) > CURVED_BEYOND_T else None), t


def _reason_not_usable(
    exponent: float, covers_m_s: tuple[float, float], reference_wind_speed_m_s: float
) -> str:
    low, high = covers_m_s
    if high / low < MIN_SPEED_RATIO - ROUNDING:
        return reason("winds_too_alike", ratio=MIN_SPEED_RATIO)
    if not PLAUSIBLE_EXPONENT[0] <= exponent <= PLAUSIBLE_EXPONENT[1]:
        return reason(IMPLAUSIBLE, exponent=exponent)
    reach = 1 + SWEEP_REACH
    if not low / reach <= reference_wind_speed_m_s <= high * reach:
        return reason("reference_wind_not_reached")
    return ""


def shrink(
    exponent: Numeric,
    standard_error: Numeric,
    prior_exponent: Numeric | float = DEFAULT_WIND_EXPONENT,
    prior_uncertainty: Numeric | float = DEFAULT_WIND_EXPONENT_UNCERTAINTY,
) -> Shrunk[Numeric]:
    """Return a fitted exponent shrunk towards the mean of other builds.

    Parameters
    ----------
    exponent, standard_error : float or array-like, shape (n,)
        Fitted to the build's own sweep. [-]
    prior_exponent, prior_uncertainty : float or array-like, shape (n,), optional
        Mean and standard deviation over builds. [-]

    Returns
    -------
    Shrunk
        Mean weighted by inverse variances. [-]

    Notes
    -----
    A zero offset of the wind meter moves every point of a sweep alike, so 0.14 is added to the
    standard error in quadrature first.

    Examples
    --------
    >>> joined = shrink(2.35, 0.09)
    >>> round(joined.exponent, 2), round(joined.standard_error, 2)
    (2.39, 0.15)
    """
    own_weight = 1 / (standard_error**2 + ZERO_OFFSET_UNCERTAINTY**2)
    prior_weight = 1 / prior_uncertainty**2
    variance: Numeric = 1 / (own_weight + prior_weight)
    mean: Numeric = variance * (exponent * own_weight + prior_exponent * prior_weight)
    error: Numeric = variance**0.5
    return Shrunk(mean, error)

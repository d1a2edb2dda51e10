"""How power follows wind and air at a fixed load, and power put on the season's reference.

At a fixed load power does not follow the cube of the wind: an under-loaded
rotor behaves as a speed source (towards the square), an overloaded one falls
towards stall (above the cube). Until a build has a wind sweep of its own the
default exponents stand, with an honest width.
"""

import numpy as np

from analysis.columns import FloatArray, Numeric, TextArray

DEFAULT_WIND_EXPONENT = 2.6  # [-]
DEFAULT_WIND_EXPONENT_UNCERTAINTY = 0.4  # [-]
DEFAULT_DENSITY_EXPONENT = 0.5  # [-]
DEFAULT_DENSITY_EXPONENT_UNCERTAINTY = 0.3  # [-]

REFERENCE_WIND_SPEED_M_S = 4.0  # [m/s]
REFERENCE_AIR_DENSITY_KG_M3 = 1.225  # [kg/m³], ISO 2533:1975, sea level

#: How far measured wind may lie from the reference, and what the answer is then called. [-]
BANDS = (("direct", 0.95, 1.05), ("default", 0.90, 1.10), ("provisional", 0.80, 1.25))
OUT_OF_RANGE = "out_of_range"
ROUNDING = 1e-9  # [-], 4.2 over 4.0 belongs inside 1.05


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
    """Return the figure of the textbook's cube rule, which assumes a load re-tuned at each wind.

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


def normalisation_status(wind_ratio: FloatArray) -> TextArray:
    """Return how far a trial's wind allows it to be put on the reference.

    Parameters
    ----------
    wind_ratio : array, shape (n,)
        Measured over reference wind speed; NaN where unknown. [-]

    Returns
    -------
    array of str, shape (n,)
        `direct`, `default`, `provisional` or `out_of_range`; empty where the wind is unknown.

    Examples
    --------
    >>> normalisation_status(np.array([1.05, 1.1, 0.8, 1.3, np.nan])).tolist()
    ['direct', 'default', 'provisional', 'out_of_range', '']
    """
    within = [
        (wind_ratio >= low - ROUNDING) & (wind_ratio <= high + ROUNDING) for _, low, high in BANDS
    ]
    known = np.isfinite(wind_ratio)
    return np.select([*within, known], [*(name for name, _, _ in BANDS), OUT_OF_RANGE], "")

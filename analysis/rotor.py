"""Calculate the power coefficient and the tip-speed ratio of a rotor."""

import math

from analysis.columns import Numeric
from analysis.wind import wind_power

BETZ_LIMIT = 16 / 27  # [-], Betz (1920): no rotor in free wind takes more


def power_coefficient(
    power_w: Numeric, air_density_kg_m3: Numeric, area_m2: Numeric, wind_speed_m_s: Numeric
) -> Numeric:
    """Return the power coefficient: a power as a share of the wind's power through the rotor.

    Parameters
    ----------
    power_w : float or array-like, shape (n,)
        Power; electrical power in the load gives the electrical coefficient. [W]
    air_density_kg_m3 : float or array-like, shape (n,)
        Air density. [kg/m³]
    area_m2 : float or array-like, shape (n,)
        Swept area. [m²]
    wind_speed_m_s : float or array-like, shape (n,)
        Wind speed at the rotor plane with the rotor absent. [m/s]

    Returns
    -------
    float or array-like, shape (n,)
        Power coefficient. [-]

    Notes
    -----
    The wind enters cubed: 5 % uncertainty about the speed is 15 % uncertainty about the answer.

    Examples
    --------
    >>> round(power_coefficient(0.0478, 1.116, 0.159, 4.2), 4)
    0.0073
    """
    return power_w / wind_power(air_density_kg_m3, area_m2, wind_speed_m_s)


def tip_speed_ratio(
    rotor_speed_rpm: Numeric, rotor_diameter_m: Numeric, wind_speed_m_s: Numeric
) -> Numeric:
    """Return the tip-speed ratio: speed of the blade tips over wind speed.

    Parameters
    ----------
    rotor_speed_rpm : float or array-like, shape (n,)
        Speed of the rotor, not of a geared generator. [1/min]
    rotor_diameter_m : float or array-like, shape (n,)
        Diameter of the tip circle. [m]
    wind_speed_m_s : float or array-like, shape (n,)
        Wind speed at the rotor plane with the rotor absent. [m/s]

    Returns
    -------
    float or array-like, shape (n,)
        Tip-speed ratio, ωR/v. [-]

    Examples
    --------
    >>> round(tip_speed_ratio(15.0, 80.0, 12.0), 4)
    5.236
    """
    return rotor_speed_rpm * math.pi / 30 * rotor_diameter_m / 2 / wind_speed_m_s

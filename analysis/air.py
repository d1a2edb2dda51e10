"""Calculate the density of air, and its pressure where no barometer was read."""

import numpy as np

from analysis.columns import Numeric

GAS_CONSTANT_DRY_AIR = 287.05  # [J/(kg K)], IEC 61400-12-1
GAS_CONSTANT_WATER_VAPOUR = 461.5  # [J/(kg K)], IEC 61400-12-1
ZERO_CELSIUS_K = 273.15  # [K]
STANDARD_PRESSURE_HPA = 1013.25  # [hPa], ISO 2533:1975, sea level


def vapour_pressure(air_temperature_c: Numeric) -> Numeric:
    """Return the saturation vapour pressure by the fit that the IEC density formula uses.

    Parameters
    ----------
    air_temperature_c : float or array-like, shape (n,)
        Air temperature, between -20 and 50. [°C]

    Returns
    -------
    float or array-like, shape (n,)
        Saturation vapour pressure. [Pa]

    Notes
    -----
    About 2 % below a hygrometer's table at 25 °C, which moves the density of
    air by less than 0.02 %.

    References
    ----------
    .. [1] IEC 61400-12-1:2022, equation (12), its vapour pressure, as OpenOA's source gives it.

    Examples
    --------
    >>> round(float(vapour_pressure(15.0)), 1)
    1655.0
    """
    kelvin = air_temperature_c + ZERO_CELSIUS_K
    return 0.0000205 * np.exp(0.0631846 * kelvin)  # type: ignore[return-value,no-any-return]


def moist_air_density(
    air_temperature_c: Numeric, pressure_hpa: Numeric, relative_humidity_pct: Numeric
) -> Numeric:
    """Return the density of moist air.

    Parameters
    ----------
    air_temperature_c : float or array-like, shape (n,)
        Air temperature. [°C]
    pressure_hpa : float or array-like, shape (n,)
        Station pressure: as the barometer in the room shows it, not reduced to sea level. [hPa]
    relative_humidity_pct : float or array-like, shape (n,)
        Relative humidity, 0 to 100. [%]

    Returns
    -------
    float or array-like, shape (n,)
        Density. [kg/m³]

    References
    ----------
    .. [1] IEC 61400-12-1:2022, equation (12), with R0 = 287.05 and Rw = 461.5, as the formula notes
       of SmartWPA quote it and issue 10 of OpenOA says of R0. The standard itself was not read.

    Examples
    --------
    >>> round(float(moist_air_density(20.0, 1013.25, 50.0)), 5)
    1.19902
    """
    vapour_pa = relative_humidity_pct / 100 * vapour_pressure(air_temperature_c)
    vapour_term = 1 / GAS_CONSTANT_DRY_AIR - 1 / GAS_CONSTANT_WATER_VAPOUR
    return (100 * pressure_hpa / GAS_CONSTANT_DRY_AIR - vapour_pa * vapour_term) / (
        air_temperature_c + ZERO_CELSIUS_K
    )


def standard_pressure(altitude_m: Numeric) -> Numeric:
    """Return the pressure of the standard atmosphere, for a room without a barometer.

    Parameters
    ----------
    altitude_m : float or array-like, shape (n,)
        Height above sea level, between -430 and 5000. [m]

    Returns
    -------
    float or array-like, shape (n,)
        Pressure; weather moves the true one by about 1 %. [hPa]

    References
    ----------
    .. [1] ISO 2533:1975, "Standard Atmosphere", troposphere.

    Examples
    --------
    >>> round(float(standard_pressure(1000.0)), 1)
    898.7
    """
    pressure: Numeric = STANDARD_PRESSURE_HPA * (1 - 2.25577e-5 * altitude_m) ** 5.25588
    return pressure

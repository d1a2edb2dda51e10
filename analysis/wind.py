"""Calculate the wind's power, its speed over the rotor plane, and the uncertainty of that speed."""

import math

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, Numeric, TextArray
from analysis.errors import InvalidInput

#: Rectangular limits of a wind meter by type: a share of the reading and a constant. [-], [m/s]
#: Usual classes of hand meters, common practice, no source; `spec_sheet` is a fan's brochure and
#: not a measurement.
WIND_METER_LIMITS = {
    "vane": (0.03, 0.2),
    "hot_wire": (0.05, 0.05),
    "cup": (0.04, 0.3),
    "spec_sheet": (0.25, 0.0),
}
PITOT_LIMIT_PA = 1.0  # [Pa], manometer of ±1 Pa
DEFAULT_CALIBRATION_UNCERTAINTY = 0.046  # [-], a hand vane at 4 m/s

#: Relative uncertainty of the speed over the rotor plane, by number of measured points. [-]
#: Assumed figures, common practice, no source.
PROFILE_UNCERTAINTY = {12: 0.015, 5: 0.03, 1: 0.08}
DEFAULT_PROFILE_UNCERTAINTY = 0.03
SETTING_UNCERTAINTY = 0.01  # [-], repeatability of a fan setting

#: Share of the rotor's area that each point of a five-point grid represents: centre, then four.
FIVE_POINT_WEIGHTS = (0.16, 0.21, 0.21, 0.21, 0.21)
CENTRE_RADIUS = 0.2  # [rotor radii], a point nearer to the axis is the centre point


def swept_area(rotor_diameter_m: Numeric) -> Numeric:
    """Return the area that a rotor sweeps.

    Parameters
    ----------
    rotor_diameter_m : float or array-like, shape (n,)
        Diameter of the tip circle. [m]

    Returns
    -------
    float or array-like, shape (n,)
        Swept area. [m²]

    Examples
    --------
    >>> round(swept_area(0.45), 4)
    0.159
    """
    return math.pi / 4 * rotor_diameter_m**2


def wind_power(air_density_kg_m3: Numeric, area_m2: Numeric, wind_speed_m_s: Numeric) -> Numeric:
    """Return the power of the wind through an area.

    Parameters
    ----------
    air_density_kg_m3 : float or array-like, shape (n,)
        Air density. [kg/m³]
    area_m2 : float or array-like, shape (n,)
        Area across the wind. [m²]
    wind_speed_m_s : float or array-like, shape (n,)
        Wind speed with the rotor absent. [m/s]

    Returns
    -------
    float or array-like, shape (n,)
        Kinetic power, ½ρAv³. [W]

    Examples
    --------
    >>> round(wind_power(1.225, 1.0, 10.0), 1)
    612.5
    """
    return 0.5 * air_density_kg_m3 * area_m2 * wind_speed_m_s**3


def equivalent_wind_speed(
    wind_speeds_m_s: npt.ArrayLike, weights: npt.ArrayLike | None = None
) -> float:
    """Return the uniform wind speed that has the same power as the measured one.

    Parameters
    ----------
    wind_speeds_m_s : array-like, shape (n,)
        Speeds at points of the rotor plane, measured without the rotor. [m/s]
    weights : array-like, shape (n,), optional
        Area that each point represents, in any unit; by default equal areas.

    Returns
    -------
    float
        Rotor-equivalent wind speed, the cube root of the weighted mean cube. [m/s]

    Raises
    ------
    InvalidInput
        Without points, with a negative speed, or with weights that do not sum to a positive area.

    References
    ----------
    .. [1] IEC 61400-12-1:2022, 9.1.3, rotor equivalent wind speed; the formula as in `GetREWS` of
       R PowerPerformance. The standard itself was not read.

    Examples
    --------
    >>> round(equivalent_wind_speed([3.6, 4.1, 4.4, 3.8, 4.2], FIVE_POINT_WEIGHTS), 3)
    4.06
    """
    speeds = np.asarray(wind_speeds_m_s, dtype=float)
    areas = np.ones_like(speeds) if weights is None else np.asarray(weights, dtype=float)
    if speeds.size == 0 or speeds.shape != areas.shape:
        raise InvalidInput("need one wind speed or more, and one weight for each")
    if not (np.all(speeds >= 0) and np.all(areas >= 0) and areas.sum() > 0):
        raise InvalidInput("wind speeds and weights must be zero or more, and some area positive")
    return float((np.sum(areas * speeds**3) / areas.sum()) ** (1 / 3))


def unevenness(wind_speeds_m_s: npt.ArrayLike) -> float:
    """Return the spread of the wind over the rotor plane: standard deviation over mean.

    Parameters
    ----------
    wind_speeds_m_s : array-like, shape (n,)
        Speeds at points of the rotor plane. [m/s]

    Returns
    -------
    float
        Sample standard deviation over mean; 0 for a single point. [-]

    Examples
    --------
    >>> round(unevenness([3.2, 3.6, 3.9, 4.4, 4.6, 4.5, 4.3, 4.1, 3.7, 3.5, 3.4, 3.9]), 3)
    0.117
    """
    speeds = np.asarray(wind_speeds_m_s, dtype=float)
    return float(speeds.std(ddof=1) / speeds.mean()) if speeds.size > 1 else 0.0


def grid_weights(x_radii: npt.ArrayLike, y_radii: npt.ArrayLike) -> FloatArray:
    """Return the share of the rotor's area that each point of a wind grid represents.

    Parameters
    ----------
    x_radii, y_radii : array-like, shape (n,)
        Coordinates of the points, from the axis. [rotor radii]

    Returns
    -------
    array, shape (n,)
        Shares that sum to 1: 0.16 and four times 0.21 for five points with exactly one at the
        centre, equal shares otherwise (twelve points at 0.408, 0.707 and 0.913 of the radius
        represent equal areas).

    Examples
    --------
    >>> grid_weights([0, 0.75, 0, -0.75, 0], [0, 0, 0.75, 0, -0.75]).tolist()
    [0.16, 0.21, 0.21, 0.21, 0.21]
    """
    radii = np.hypot(np.asarray(x_radii, dtype=float), np.asarray(y_radii, dtype=float))
    at_centre = radii < CENTRE_RADIUS
    if radii.size == len(FIVE_POINT_WEIGHTS) and at_centre.sum() == 1:
        return np.where(at_centre, FIVE_POINT_WEIGHTS[0], FIVE_POINT_WEIGHTS[1])
    return np.full(radii.size, 1 / radii.size)


def blockage_factor(area_ratio: Numeric, thrust_coefficient: float = 0.5) -> Numeric:
    """Return the ratio of the free wind speed to the tunnel's, for a rotor between walls.

    Parameters
    ----------
    area_ratio : float or array-like, shape (n,)
        Rotor area over the tunnel's section, 0 to 1. [-]
    thrust_coefficient : float, optional
        Thrust coefficient of the rotor, below 1; 0.3 to 0.8 for model rotors. [-]

    Returns
    -------
    float or array-like, shape (n,)
        Factor on the tunnel's wind speed. [-]

    References
    ----------
    .. [1] Glauert, H., "Wind tunnel interference on wings, bodies and airscrews", A.R.C. Reports
       and Memoranda 1566 (1933), section not checked. For an airscrew the factor is
       1 - τ a/(2 √(1 + 2 τ)) with τ = T/(ρ A V²) and a the area ratio, as public evaluations of
       propeller tests give it (their slipstream blockage); a turbine's τ is -C_T/2.

    Examples
    --------
    >>> round(blockage_factor(0.10), 3)
    1.018
    """
    return 1 + thrust_coefficient * area_ratio / (4 * math.sqrt(1 - thrust_coefficient))


def calibration_uncertainty(
    anemometer_type: TextArray, wind_speed_m_s: FloatArray, air_density_kg_m3: FloatArray
) -> FloatArray:
    """Return the relative standard uncertainty of each wind meter, by its limits.

    Parameters
    ----------
    anemometer_type : array of str, shape (n,)
        `vane`, `hot_wire`, `cup`, `pitot` or `spec_sheet`; any other type has the default.
    wind_speed_m_s : array, shape (n,)
        Wind speed. [m/s]
    air_density_kg_m3 : array, shape (n,)
        Air density, which a Pitot tube's reading depends on. [kg/m³]

    Returns
    -------
    array, shape (n,)
        Limits read as rectangular, over the reading. [-]

    References
    ----------
    .. [1] JCGM 100:2008, clause 4.3.7, equation (7) (rectangular limits), read in the Guide's
       Russian edition at ajdocs.ru.

    Examples
    --------
    >>> speed, air = np.array([4.0, 4.0]), np.array([1.225, 1.225])
    >>> calibration_uncertainty(np.array(["vane", "pitot"]), speed, air).round(3).tolist()
    [0.046, 0.029]
    """
    limit = np.full_like(wind_speed_m_s, DEFAULT_CALIBRATION_UNCERTAINTY * math.sqrt(3))
    for kind in {*WIND_METER_LIMITS, "pitot"}.intersection(anemometer_type.tolist()):
        if kind == "pitot":
            type_limit = PITOT_LIMIT_PA / (air_density_kg_m3 * wind_speed_m_s**2)
        else:
            share, constant = WIND_METER_LIMITS[kind]
            type_limit = share + constant / wind_speed_m_s
        limit = np.where(anemometer_type == kind, type_limit, limit)
    return limit / math.sqrt(3)


def profile_uncertainty(grid_points: FloatArray) -> FloatArray:
    """Return the relative uncertainty of the wind profile, by the number of measured points.

    Parameters
    ----------
    grid_points : array, shape (n,)
        Points of the bench's wind grid; NaN where there is no grid. [-]

    Returns
    -------
    array, shape (n,)
        Relative standard uncertainty; the default where there is no grid. [-]

    Examples
    --------
    >>> profile_uncertainty(np.array([12.0, 5.0, 1.0, np.nan])).tolist()
    [0.015, 0.03, 0.08, 0.03]
    """
    return np.select(
        [grid_points >= points for points in PROFILE_UNCERTAINTY],
        list(PROFILE_UNCERTAINTY.values()),
        DEFAULT_PROFILE_UNCERTAINTY,
    )

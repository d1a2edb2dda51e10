"""Calculate safety figures of a spinning rotor: blade forces, speeds and tower stability.

Figures for adults who judge a build before it spins; the school's risk assessment decides.
"""

import math
from dataclasses import dataclass

from analysis.columns import Numeric
from analysis.wind import swept_area

GRAVITY_M_S2 = 9.80665  # [m/s²], standard gravity, exact by definition (CGPM 1901)
RUNAWAY_TIP_SPEED_RATIO = 6.0  # [-], upper end of 4 to 6 without load; common practice, no source
THRUST_COEFFICIENT = 0.8  # [-], of a loaded rotor near its best; 8/9 is the momentum limit
PULL_FACTOR = 2.0  # [-], of the force at run-away
TIPPING_FACTOR = 1.5  # [-], of the moment of thrust
CENTRE_OF_BLADE = 0.5  # [-], of the rotor's radius, where a blade's balance point is not measured
FASTEST_TIP_M_S = 40.0  # [m/s], without a full guard; a default of this project, no standard
MOST_BLADE_ENERGY_J = 2.0  # [J], the same
RADIANS_A_TURN = 2 * math.pi


def angular_speed(rotor_speed_rpm: Numeric) -> Numeric:
    """Return turns per minute as radians per second.

    >>> round(angular_speed(600.0), 2)
    62.83
    """
    return rotor_speed_rpm * RADIANS_A_TURN / 60


def runaway_speed(
    wind_speed_m_s: Numeric,
    rotor_diameter_m: Numeric,
    tip_speed_ratio: Numeric | float = RUNAWAY_TIP_SPEED_RATIO,
) -> Numeric:
    """Return the speed of a rotor whose load is lost (run-away).

    Parameters
    ----------
    wind_speed_m_s : float or array-like, shape (n,)
        Highest wind of the bench. [m/s]
    rotor_diameter_m : float or array-like, shape (n,)
        Diameter of the tip circle. [m]
    tip_speed_ratio : float or array-like, shape (n,), optional
        Tip speed over wind speed without load. [-]

    Returns
    -------
    float or array-like, shape (n,)
        Rotor speed. [1/min]

    Notes
    -----
    The definition of the tip-speed ratio, solved for the speed.

    Examples
    --------
    >>> round(runaway_speed(6.0, 0.45, 5.0)), round(runaway_speed(6.0, 0.30))
    (1273, 2292)
    """
    return 60 * tip_speed_ratio * wind_speed_m_s / (math.pi * rotor_diameter_m)


def tip_speed(rotor_speed_rpm: Numeric, rotor_diameter_m: Numeric) -> Numeric:
    """Return the speed of the blade tips, in metres per second.

    >>> round(tip_speed(1200.0, 0.60))
    38
    """
    return angular_speed(rotor_speed_rpm) * rotor_diameter_m / 2


def blade_force(mass_kg: Numeric, balance_radius_m: Numeric, rotor_speed_rpm: Numeric) -> Numeric:
    """Return the force with which a spinning blade pulls at its root, F = m ω² r.

    Parameters
    ----------
    mass_kg : float or array-like, shape (n,)
        Mass of the blade with its fixing. [kg]
    balance_radius_m : float or array-like, shape (n,)
        From the shaft's axis to the blade's balance point. [m]
    rotor_speed_rpm : float or array-like, shape (n,)
        Rotor speed. [1/min]

    Returns
    -------
    float or array-like, shape (n,)
        Centripetal force. [N]

    Examples
    --------
    >>> round(blade_force(0.012, 0.15, 1200.0))
    28
    """
    return mass_kg * angular_speed(rotor_speed_rpm) ** 2 * balance_radius_m


def blade_energy(mass_kg: Numeric, balance_radius_m: Numeric, rotor_speed_rpm: Numeric) -> Numeric:
    """Return the kinetic energy of a blade that comes loose, ½ m (ω r)², in joules.

    >>> round(blade_energy(0.012, 0.15, 1200.0), 1)
    2.1
    """
    return 0.5 * mass_kg * (angular_speed(rotor_speed_rpm) * balance_radius_m) ** 2


def pull_test(mass_kg: Numeric, balance_radius_m: Numeric, rotor_speed_rpm: Numeric) -> Numeric:
    """Return the pull that each blade must hold at rest: twice its force at run-away, in newtons.

    >>> round(pull_test(0.012, 0.15, 1200.0))
    57
    """
    return PULL_FACTOR * blade_force(mass_kg, balance_radius_m, rotor_speed_rpm)


def thrust(
    air_density_kg_m3: Numeric,
    rotor_diameter_m: Numeric,
    wind_speed_m_s: Numeric,
    coefficient: float = THRUST_COEFFICIENT,
) -> Numeric:
    """Return the thrust of the wind on a rotor, ½ ρ A v² C_T, in newtons.

    >>> round(thrust(1.225, 0.45, 4.0), 2)
    1.25
    """
    pressure = 0.5 * air_density_kg_m3 * wind_speed_m_s**2
    return pressure * swept_area(rotor_diameter_m) * coefficient


def tipping_ratio(
    mass_kg: Numeric, tower_side_m: Numeric, thrust_n: Numeric, hub_height_m: Numeric
) -> Numeric:
    """Return the moment of a tower's weight over the moment of the wind's thrust.

    Parameters
    ----------
    mass_kg : float or array-like, shape (n,)
        Mass of tower, base and turbine. [kg]
    tower_side_m : float or array-like, shape (n,)
        Side of the tower's square foot; the tower tips over an edge. [m]
    thrust_n : float or array-like, shape (n,)
        Thrust of the wind at the hub. [N]
    hub_height_m : float or array-like, shape (n,)
        Hub above the floor. [m]

    Returns
    -------
    float or array-like, shape (n,)
        Ratio of moments about the edge; below `TIPPING_FACTOR` it may fall. [-]

    Examples
    --------
    >>> round(tipping_ratio(0.9, 0.30, 1.25, 0.7), 2)
    1.51
    """
    return mass_kg * GRAVITY_M_S2 * tower_side_m / 2 / (thrust_n * hub_height_m)


@dataclass(frozen=True, slots=True)
class SafetyFigures:
    """Safety figures of a build at run-away in the highest wind; `None` if not known."""

    wind_speed_m_s: float
    runaway_speed_rpm: float
    runaway_tip_speed_m_s: float
    balance_radius_m: float
    blade_force_n: float | None
    blade_weights: float
    blade_energy_j: float | None
    pull_test_n: float | None
    thrust_n: float
    tipping_ratio: float | None
    needs_guard: bool


@dataclass(frozen=True, slots=True)
class Blade:
    """One blade with its fixing: mass [kg] and balance point from the axis [m], if known."""

    mass_kg: float | None = None
    balance_radius_m: float | None = None


@dataclass(frozen=True, slots=True)
class Tower:
    """Tower with base and turbine: mass [kg], side of its foot [m], hub height [m], if known."""

    mass_kg: float | None = None
    side_m: float | None = None
    hub_height_m: float | None = None


def safety_figures(
    wind_speed_m_s: float,
    air_density_kg_m3: float,
    rotor_diameter_m: float,
    blade: Blade,
    tower: Tower,
) -> SafetyFigures:
    """Return all figures of one build at run-away in one wind.

    Parameters
    ----------
    wind_speed_m_s, air_density_kg_m3 : float
        The highest wind that the build will meet, and its air. [m/s], [kg/m³]
    rotor_diameter_m : float
        Diameter of the tip circle. [m]
    blade : Blade
        Without a measured balance point, half the radius is used.
    tower : Tower
        The tower that carries the rotor.

    Returns
    -------
    SafetyFigures
        With `needs_guard` beyond 40 m/s or 2 J, which are this project's defaults, no standard's.

    Examples
    --------
    >>> figures = safety_figures(6.0, 1.2, 0.45, Blade(0.012, 0.12), Tower())
    >>> round(figures.runaway_speed_rpm), round(figures.pull_test_n), figures.needs_guard
    (1528, 74, True)
    """
    rpm = runaway_speed(wind_speed_m_s, rotor_diameter_m)
    balance = blade.balance_radius_m or CENTRE_OF_BLADE * rotor_diameter_m / 2
    tip = tip_speed(rpm, rotor_diameter_m)
    thrust_n = thrust(air_density_kg_m3, rotor_diameter_m, wind_speed_m_s)
    force = energy = None
    if blade.mass_kg is not None:
        force = blade_force(blade.mass_kg, balance, rpm)
        energy = blade_energy(blade.mass_kg, balance, rpm)
    return SafetyFigures(
        wind_speed_m_s=wind_speed_m_s,
        runaway_speed_rpm=rpm,
        runaway_tip_speed_m_s=tip,
        balance_radius_m=balance,
        blade_force_n=force,
        blade_weights=angular_speed(rpm) ** 2 * balance / GRAVITY_M_S2,
        blade_energy_j=energy,
        pull_test_n=None if force is None else PULL_FACTOR * force,
        thrust_n=thrust_n,
        tipping_ratio=_tipping_ratio(tower, thrust_n),
        needs_guard=tip > FASTEST_TIP_M_S or (energy or 0.0) > MOST_BLADE_ENERGY_J,
    )


def _tipping_ratio(tower: Tower, thrust_n: float) -> float | None:
    if tower.mass_kg is None or tower.side_m is None or tower.hub_height_m is None:
        return None
    return tipping_ratio(tower.mass_kg, tower.side_m, thrust_n, tower.hub_height_m)

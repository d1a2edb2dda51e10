"""Inputs of each trial's calculation: readings reduced, gaps filled, uncertainties given.

Where something was not measured the next best is taken, and its source is
named: the trial's own wind before its session's before its bench's grid; the
room's barometer before its altitude before a guess.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import electrical, uncertainty, wind
from analysis.air import STANDARD_PRESSURE_HPA, moist_air_density, standard_pressure
from analysis.columns import POWER_KINDS, FloatArray, IntArray, TextArray
from analysis.generator import DEFAULT_BRUSH_DROP_V, rotor_speed_from_voltage
from analysis.numeric.groups import Groups, are_among

U_AIR_DENSITY = 0.01  # [-], thermometer and barometer, or thermometer and altitude
U_TEMPERATURE_ASSUMED = 0.02  # [-], a room without a thermometer: ±10 K as limits, over 293 K
U_PRESSURE_ASSUMED = 0.05  # [-], neither barometer nor altitude: sea level to 1500 m as limits
ASSUMED_TEMPERATURE_C = 20.0  # [°C]
ASSUMED_HUMIDITY_PCT = 50.0  # [%], matters by 0.1 %
BLOCKAGE_FROM = 0.05  # [-], area ratio below which a tunnel's walls are not corrected for

Columns = Mapping[str, npt.NDArray[np.generic]]


@dataclass(frozen=True, slots=True)
class Runs:
    """What the runs of each trial say together; arrays of one value per trial."""

    power_w: FloatArray
    ln_power_range: FloatArray
    ln_power_sd: FloatArray
    count: FloatArray
    voltage_v: FloatArray
    largest_voltage_v: FloatArray
    smallest_voltage_v: FloatArray
    rotor_speed_rpm: FloatArray
    wind_speed_m_s: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialInputs:
    """What results are computed from; arrays of one value per trial, NaN where it is not known.

    A `…_source` tells where a value is from and is empty where there is none. All `u_…` are
    relative standard uncertainties.
    """

    is_power_kind: npt.NDArray[np.bool_]
    has_wind_meter: npt.NDArray[np.bool_]
    area_m2: FloatArray
    rotor_diameter_m: FloatArray
    power_w: FloatArray
    run_count: FloatArray
    ln_power_range: FloatArray
    ln_power_sd: FloatArray
    largest_voltage_v: FloatArray
    smallest_voltage_v: FloatArray
    u_voltage: FloatArray
    u_load: FloatArray
    air_density_kg_m3: FloatArray
    air_density_source: TextArray
    u_air_density: FloatArray
    wind_speed_m_s: FloatArray
    wind_speed_source: TextArray
    u_wind_speed: FloatArray
    rotor_speed_rpm: FloatArray
    rotor_speed_source: TextArray
    reference_wind_speed_m_s: FloatArray
    reference_air_density_kg_m3: FloatArray


def trial_inputs(trials: Columns, runs: Columns) -> TrialInputs:
    """Return what is taken of trials.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `TRIAL_COLUMNS`: a frame or a dict of arrays, NaN where a number is not known.
    runs : mapping of str to array, shape (r,)
        `RUN_COLUMNS`: one row per run.

    Returns
    -------
    TrialInputs
        One value per trial.
    """
    is_power_kind = are_among(np.asarray(trials["kind"]), POWER_KINDS)
    load = np.where(is_power_kind, numbers(trials["load_ohm"]), np.nan)
    run = reduce_runs(runs, load)
    density, u_density, density_source = _air(trials)
    has_meter = ~are_among(np.asarray(trials["anemometer_type"]), {"none"})
    speed, wind_source = _wind(trials, run, has_meter)
    rotor_speed, rotor_speed_source = _rotor_speed(trials, run, load)
    diameter = numbers(trials["rotor_diameter_m"])
    return TrialInputs(
        is_power_kind=is_power_kind,
        has_wind_meter=has_meter,
        area_m2=wind.swept_area(diameter),
        rotor_diameter_m=diameter,
        power_w=run.power_w,
        run_count=run.count,
        ln_power_range=run.ln_power_range,
        ln_power_sd=run.ln_power_sd,
        largest_voltage_v=run.largest_voltage_v,
        smallest_voltage_v=run.smallest_voltage_v,
        u_voltage=_voltage_uncertainty(trials, run),
        u_load=_load_uncertainty(trials),
        air_density_kg_m3=density,
        air_density_source=density_source,
        u_air_density=u_density,
        wind_speed_m_s=speed,
        wind_speed_source=wind_source,
        u_wind_speed=_wind_uncertainty(trials, speed, density, wind_source),
        rotor_speed_rpm=rotor_speed,
        rotor_speed_source=rotor_speed_source,
        reference_wind_speed_m_s=numbers(trials["reference_wind_speed_m_s"]),
        reference_air_density_kg_m3=numbers(trials["reference_air_density_kg_m3"]),
    )


def reduce_runs(runs: Columns, load_ohm: FloatArray) -> Runs:
    """Return the geometric mean power and the spread of each trial's runs.

    Parameters
    ----------
    runs : mapping of str to array, shape (r,)
        `RUN_COLUMNS`: one row per run.
    load_ohm : array, shape (n,)
        Load of each trial; NaN where none was connected. [Ω]

    Returns
    -------
    Runs
        One value per trial.

    Notes
    -----
    A logger's mean square counts before volts and amperes, these before volts alone, and
    amperes alone come last.

    Examples
    --------
    >>> nothing = np.full(2, np.nan)
    >>> two = {"trial": np.array([0, 0]), "voltage_v": np.array([1.0, 2.0]),
    ...     "mean_square_voltage_v2": nothing, "current_a": nothing,
    ...     "rotor_speed_rpm": nothing, "wind_speed_m_s": nothing}
    >>> reduce_runs(two, np.array([1.0])).power_w.tolist()
    [2.0]
    """
    trial: IntArray = np.asarray(runs["trial"], dtype=np.int64)
    by_trial = Groups(np.arange(len(load_ohm)), trial)
    effective = np.sqrt(numbers(runs["mean_square_voltage_v2"]))
    voltage = _first_known([np.abs(numbers(runs["voltage_v"])), effective])
    with np.errstate(divide="ignore", invalid="ignore"):
        ln_power = np.log(run_power(runs, load_ohm[trial]))
        mean = by_trial.mean(ln_power)
        spread = by_trial.largest(ln_power) - by_trial.smallest(ln_power)
        scatter = by_trial.standard_deviation(ln_power)
    return Runs(
        power_w=np.exp(mean),
        ln_power_range=spread,
        ln_power_sd=scatter,
        count=by_trial.count(),
        voltage_v=by_trial.known_mean(voltage),
        largest_voltage_v=by_trial.largest(np.nan_to_num(voltage)),
        smallest_voltage_v=by_trial.smallest(np.where(np.isnan(voltage), np.inf, voltage)),
        rotor_speed_rpm=by_trial.known_mean(numbers(runs["rotor_speed_rpm"])),
        wind_speed_m_s=by_trial.known_mean(numbers(runs["wind_speed_m_s"])),
    )


def run_power(runs: Columns, load_ohm: FloatArray) -> FloatArray:
    """Return the power of each run by the best of its readings.

    Parameters
    ----------
    runs : mapping of str to array, shape (r,)
        `RUN_COLUMNS`: one row per run.
    load_ohm : array, shape (r,)
        Load of each run. [Ω]

    Returns
    -------
    array, shape (r,)
        Power; NaN where nothing tells it. [W]

    Examples
    --------
    >>> nan = np.array([np.nan])
    >>> run_power({"voltage_v": np.array([1.2]), "current_a": nan,
    ...     "mean_square_voltage_v2": nan}, np.array([30.1])).round(5).tolist()
    [0.04784]
    """
    voltage, current = numbers(runs["voltage_v"]), numbers(runs["current_a"])
    choices = [
        numbers(runs["mean_square_voltage_v2"]) / load_ohm,
        np.abs(voltage * current),
        electrical.power_from_voltage(voltage, load_ohm),
        electrical.power_from_current(current, load_ohm),
    ]
    return _first_known(choices)


def _first_known(choices: list[FloatArray]) -> FloatArray:
    """Return, place by place, the first value that is known."""
    found = np.full_like(choices[-1], np.nan)
    for choice in reversed(choices):
        found = np.where(np.isfinite(choice), choice, found)
    return found


def numbers(column: npt.NDArray[np.generic]) -> FloatArray:
    """Return a column as numbers.

    Parameters
    ----------
    column : array-like, shape (n,)
        Numbers of any kind.

    Returns
    -------
    array, shape (n,)
        The same as floats.

    Examples
    --------
    >>> numbers(np.array([1, 2])).tolist()
    [1.0, 2.0]
    """
    return np.asarray(column, dtype=np.float64)


def or_default(column: npt.NDArray[np.generic], default: float) -> FloatArray:
    """Return a column as numbers, with a default where none is known.

    Parameters
    ----------
    column : array-like, shape (n,)
        Numbers, NaN where none is known.
    default : float
        What stands in.

    Returns
    -------
    array, shape (n,)
        Numbers.

    Examples
    --------
    >>> or_default(np.array([1.0, np.nan]), 0.1).tolist()
    [1.0, 0.1]
    """
    values = numbers(column)
    return np.where(np.isnan(values), default, values)


def _air(trials: Columns) -> tuple[FloatArray, FloatArray, TextArray]:
    """Return density, its uncertainty, and what it rests on."""
    temperature = numbers(trials["air_temperature_c"])
    pressure, altitude = numbers(trials["pressure_hpa"]), numbers(trials["altitude_m"])
    no_thermometer, no_barometer = np.isnan(temperature), np.isnan(pressure)
    no_altitude = no_barometer & np.isnan(altitude)
    by_altitude = np.where(no_altitude, STANDARD_PRESSURE_HPA, standard_pressure(altitude))
    density = moist_air_density(
        np.where(no_thermometer, ASSUMED_TEMPERATURE_C, temperature),
        np.where(no_barometer, by_altitude, pressure),
        or_default(trials["relative_humidity_pct"], ASSUMED_HUMIDITY_PCT),
    )
    u_density = uncertainty.combine(
        np.where(no_thermometer, U_TEMPERATURE_ASSUMED, U_AIR_DENSITY),
        np.where(no_altitude, U_PRESSURE_ASSUMED, 0.0),
    )
    assumed = no_thermometer | no_altitude
    return (
        density,
        u_density,
        np.select([assumed, no_barometer], ["assumed", "altitude"], "measured"),
    )


def _wind(
    trials: Columns, run: Runs, has_meter: npt.NDArray[np.bool_]
) -> tuple[FloatArray, TextArray]:
    """Return the free wind speed at the rotor plane, and what it rests on."""
    grid, monitor = numbers(trials["grid_wind_speed_m_s"]), numbers(trials["grid_monitor_m_s"])
    start, end = numbers(trials["wind_speed_start_m_s"]), numbers(trials["wind_speed_end_m_s"])
    # Where the grid was measured beside a monitor, every later reading is the monitor's.
    scale = np.where(np.isnan(monitor), 1.0, grid / monitor)
    choices = {
        "trial": numbers(trials["wind_speed_m_s"]) * scale,
        "runs": run.wind_speed_m_s * scale,
        "session": _first_known([(start + end) / 2, start, end]) * scale,
        "grid": grid,
    }
    known = [np.isfinite(choice) & has_meter for choice in choices.values()]
    speed = np.select(known, list(choices.values()), np.nan)
    return speed * _blockage(trials), np.select(known, list(choices), "")


def _blockage(trials: Columns) -> FloatArray:
    """Return the factor from a tunnel's wind to the free wind; 1 before an open fan."""
    area = wind.swept_area(numbers(trials["rotor_diameter_m"]))
    ratio = area / numbers(trials["tunnel_area_m2"])
    return np.where(ratio > BLOCKAGE_FROM, wind.blockage_factor(ratio), 1.0)


def _voltage_uncertainty(trials: Columns, run: Runs) -> FloatArray:
    counts = or_default(trials["meter_counts"], electrical.DEFAULT_METER_COUNTS)
    percent = or_default(trials["meter_percent"], electrical.DEFAULT_METER_PERCENT)
    digits = or_default(trials["meter_digits"], electrical.DEFAULT_METER_DIGITS)
    resolution = electrical.meter_resolution(numbers(trials["meter_range_v"]), counts)
    uncertainty_v = electrical.meter_standard_uncertainty(
        run.voltage_v, percent, digits, resolution
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        u_volt = uncertainty_v / run.voltage_v
    return np.where(np.isfinite(u_volt), u_volt, electrical.DEFAULT_VOLTAGE_UNCERTAINTY)


def _load_uncertainty(trials: Columns) -> FloatArray:
    tolerance = numbers(trials["load_tolerance_pct"])
    by_colour_code = electrical.resistor_standard_uncertainty(np.ones_like(tolerance), tolerance)
    return np.where(np.isnan(tolerance), electrical.DEFAULT_LOAD_UNCERTAINTY, by_colour_code)


def _wind_uncertainty(
    trials: Columns, speed: FloatArray, density: FloatArray, source: TextArray
) -> FloatArray:
    """Return the uncertainty of the wind: meter, sampling of the profile, and setting."""
    meter = wind.calibration_uncertainty(np.asarray(trials["anemometer_type"]), speed, density)
    # A grid tells of the profile only where the speed rests on it.
    on_grid = (source == "grid") | np.isfinite(numbers(trials["grid_monitor_m_s"]))
    points = np.where(on_grid, numbers(trials["grid_points"]), np.nan)
    profile = wind.profile_uncertainty(points)
    return uncertainty.combine(meter, profile, np.full_like(meter, wind.SETTING_UNCERTAINTY))


def _rotor_speed(trials: Columns, run: Runs, load: FloatArray) -> tuple[FloatArray, TextArray]:
    """Return the rotor speed, read or from the generator's constants, and its source."""
    from_voltage = rotor_speed_from_voltage(
        run.voltage_v,
        load,
        numbers(trials["emf_constant_v_s_rad"]),
        numbers(trials["winding_resistance_ohm"]),
        brush_drop_v=or_default(trials["brush_drop_v"], DEFAULT_BRUSH_DROP_V),
        gear_ratio=or_default(trials["gear_ratio"], 1.0),
    )
    # A rotor at rest shows no volts, and the brushes' drop alone would tell of a speed.
    choices = [run.rotor_speed_rpm, np.where(run.voltage_v > 0, from_voltage, np.nan)]
    known = [np.isfinite(choice) for choice in choices]
    return _first_known(choices), np.select(known, ["measured", "from_voltage"], "")

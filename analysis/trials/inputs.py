"""Prepare the inputs of each trial's calculation: reduce readings, fill gaps, add uncertainties.

A value that was not measured is replaced by the next best one, and its source is
named: for wind the trial's own, its session's, its bench's grid; for pressure the
room's barometer, its altitude, an assumed value.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import electrical, uncertainty, wind
from analysis.air import STANDARD_PRESSURE_HPA, moist_air_density, standard_pressure
from analysis.columns import (
    POWER_KINDS,
    Columns,
    FloatArray,
    TextArray,
    first_known,
    numbers,
    or_default,
)
from analysis.generator import DEFAULT_BRUSH_DROP_V, rotor_speed_from_voltage
from analysis.numeric.groups import are_among
from analysis.trials.power import Runs, reduce_runs

U_AIR_DENSITY = 0.01  # [-], thermometer and barometer, or thermometer and altitude
U_TEMPERATURE_ASSUMED = 0.02  # [-], a room without a thermometer: ±10 K as limits, over 293 K
U_PRESSURE_ASSUMED = 0.05  # [-], neither barometer nor altitude: sea level to 1500 m as limits
ASSUMED_TEMPERATURE_C = 20.0  # [°C]
ASSUMED_HUMIDITY_PCT = 50.0  # [%], matters by 0.1 %
BLOCKAGE_FROM = 0.05  # [-], area ratio below which a tunnel's walls are not corrected for


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialInputs:
    """Inputs of the results; arrays with one value per trial, NaN where it is not known.

    A `…_source` names the source of a value and is empty if there is no value. All `u_…` are
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
    u_wind_meter: FloatArray
    u_wind_profile: FloatArray
    rotor_speed_rpm: FloatArray
    rotor_speed_source: TextArray
    reference_wind_speed_m_s: FloatArray
    reference_air_density_kg_m3: FloatArray


def trial_inputs(trials: Columns, runs: Columns) -> TrialInputs:
    """Return the inputs of trials' results.

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
    u_meter, u_profile = _wind_uncertainties(trials, speed, density, wind_source)
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
        u_wind_speed=uncertainty.combine(
            u_meter, u_profile, np.full_like(u_meter, wind.SETTING_UNCERTAINTY)
        ),
        u_wind_meter=u_meter,
        u_wind_profile=u_profile,
        rotor_speed_rpm=rotor_speed,
        rotor_speed_source=rotor_speed_source,
        reference_wind_speed_m_s=numbers(trials["reference_wind_speed_m_s"]),
        reference_air_density_kg_m3=numbers(trials["reference_air_density_kg_m3"]),
    )


def _air(trials: Columns) -> tuple[FloatArray, FloatArray, TextArray]:
    """Return density, its uncertainty and its source."""
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
    """Return the free wind speed at the rotor plane, and its source."""
    grid, monitor = numbers(trials["grid_wind_speed_m_s"]), numbers(trials["grid_monitor_m_s"])
    start, end = numbers(trials["wind_speed_start_m_s"]), numbers(trials["wind_speed_end_m_s"])
    # If the grid was measured with a monitor, every later reading is the monitor's.
    scale = np.where(np.isnan(monitor), 1.0, grid / monitor)
    choices = {
        "trial": numbers(trials["wind_speed_m_s"]) * scale,
        "runs": run.wind_speed_m_s * scale,
        "session": first_known([(start + end) / 2, start, end]) * scale,
        "grid": grid,
    }
    is_known = [np.isfinite(choice) & has_meter for choice in choices.values()]
    speed = np.select(is_known, list(choices.values()), np.nan)
    return speed * _blockage(trials), np.select(is_known, list(choices), "")


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


def _wind_uncertainties(
    trials: Columns, speed: FloatArray, density: FloatArray, source: TextArray
) -> tuple[FloatArray, FloatArray]:
    """Return the uncertainty of the wind by its meter, and by the sampling of its profile."""
    meter = wind.calibration_uncertainty(np.asarray(trials["anemometer_type"]), speed, density)
    # A grid describes the profile only if the speed is based on it.
    on_grid = (source == "grid") | np.isfinite(numbers(trials["grid_monitor_m_s"]))
    points = np.where(on_grid, numbers(trials["grid_points"]), np.nan)
    return meter, wind.profile_uncertainty(points)


def _rotor_speed(trials: Columns, run: Runs, load: FloatArray) -> tuple[FloatArray, TextArray]:
    """Return the rotor speed, measured or from the generator's constants, and its source."""
    from_voltage = rotor_speed_from_voltage(
        run.voltage_v,
        load,
        numbers(trials["emf_constant_v_s_rad"]),
        numbers(trials["winding_resistance_ohm"]),
        brush_drop_v=or_default(trials["brush_drop_v"], DEFAULT_BRUSH_DROP_V),
        gear_ratio=or_default(trials["gear_ratio"], 1.0),
    )
    # A rotor at rest gives no volts, and the brush drop by itself would look like a speed.
    choices = [run.rotor_speed_rpm, np.where(run.voltage_v > 0, from_voltage, np.nan)]
    is_known = [np.isfinite(choice) for choice in choices]
    return first_known(choices), np.select(is_known, ["measured", "from_voltage"], "")

"""From the facts of trials to their results: the one function that computes them.

The same vectorised function serves a single trial as it arrives, a page of
fifty and a whole season, so that no two answers can differ.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis import electrical, exponent, uncertainty, wind
from analysis.air import STANDARD_PRESSURE_HPA, moist_air_density, standard_pressure
from analysis.columns import POWER_KINDS, FloatArray, IntArray, TextArray
from analysis.generator import DEFAULT_BRUSH_DROP_V, rotor_speed_from_voltage
from analysis.groups import Groups
from analysis.rotor import power_coefficient, tip_speed_ratio

FORMULA_VERSION = 1

U_REPEAT = 0.04  # [-], scatter of one run of ln P; common practice, no source
U_SESSION = 0.03  # [-], scatter of one sitting of ln P; common practice, no source
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
    count: FloatArray
    voltage_v: FloatArray
    largest_voltage_v: FloatArray
    smallest_voltage_v: FloatArray
    rotor_speed_rpm: FloatArray
    wind_speed_m_s: FloatArray


@dataclass(frozen=True, slots=True)
class TrialResults:
    """The result of each trial; arrays of one value per trial, NaN where it cannot be known.

    `reason` says in words why `normalised_power_w` is not known, and is empty where it is.
    """

    power_w: FloatArray
    run_count: FloatArray
    ln_power_range: FloatArray
    largest_voltage_v: FloatArray
    smallest_voltage_v: FloatArray
    air_density_kg_m3: FloatArray
    air_density_source: TextArray
    wind_speed_m_s: FloatArray
    wind_speed_source: TextArray
    wind_power_w: FloatArray
    power_coefficient: FloatArray
    rotor_speed_rpm: FloatArray
    rotor_speed_source: TextArray
    tip_speed_ratio: FloatArray
    specific_power_w_m2: FloatArray
    normalised_power_w: FloatArray
    normalised_power_cubic_w: FloatArray
    wind_exponent: FloatArray
    density_exponent: FloatArray
    u_wind_exponent: FloatArray
    u_density_exponent: FloatArray
    ln_wind_ratio: FloatArray
    ln_density_ratio: FloatArray
    u_own: FloatArray
    u_bench: FloatArray
    u_total: FloatArray
    interval_low_w: FloatArray
    interval_high_w: FloatArray
    normalisation: TextArray
    reason: TextArray


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
    by_trial = Groups(np.arange(len(load_ohm)), _integers(runs["trial"]))
    voltage, current = np.abs(_numbers(runs["voltage_v"])), _numbers(runs["current_a"])
    voltage = np.where(
        np.isnan(voltage), np.sqrt(_numbers(runs["mean_square_voltage_v2"])), voltage
    )
    with np.errstate(divide="ignore", invalid="ignore"):
        ln_power = np.log(_run_power(runs, voltage, current, load_ohm[by_trial.codes]))
        mean = by_trial.mean(ln_power)
        spread = by_trial.largest(ln_power) - by_trial.smallest(ln_power)
    return Runs(
        power_w=np.exp(mean),
        ln_power_range=spread,
        count=by_trial.count(),
        voltage_v=by_trial.known_mean(voltage),
        largest_voltage_v=by_trial.largest(np.nan_to_num(voltage)),
        smallest_voltage_v=by_trial.smallest(np.where(np.isnan(voltage), np.inf, voltage)),
        rotor_speed_rpm=by_trial.known_mean(_numbers(runs["rotor_speed_rpm"])),
        wind_speed_m_s=by_trial.known_mean(_numbers(runs["wind_speed_m_s"])),
    )


def _run_power(
    runs: Columns, voltage: FloatArray, current: FloatArray, load: FloatArray
) -> FloatArray:
    """Return the power of each run by the best of its readings."""
    square = _numbers(runs["mean_square_voltage_v2"])
    choices = [
        square / load,
        np.abs(voltage * current),
        electrical.power_from_voltage(voltage, load),
        electrical.power_from_current(current, load),
    ]
    return np.select([np.isfinite(choice) for choice in choices], choices, np.nan)


def trial_results(trials: Columns, runs: Columns) -> TrialResults:
    """Return the results of trials from their facts.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        `TRIAL_COLUMNS`: a frame or a dict of arrays, NaN where a number is not known.
    runs : mapping of str to array, shape (r,)
        `RUN_COLUMNS`: one row per run.

    Returns
    -------
    TrialResults
        One value per trial.

    References
    ----------
    .. [1] JCGM 100:2008, clause 5.1.2, applied to ln P. Clause [memory].
    .. [2] IEC 61400-12-1:2017 for density and equivalent wind speed. Clauses [memory].
    """
    load = np.where(_is_power_kind(trials), _numbers(trials["load_ohm"]), np.nan)
    run = reduce_runs(runs, load)
    density, u_density, density_source = _air(trials)
    speed, wind_source = _wind(trials, run)
    area = wind.swept_area(_numbers(trials["rotor_diameter_m"]))
    reference_speed = _numbers(trials["reference_wind_speed_m_s"])
    reference_density = _numbers(trials["reference_air_density_kg_m3"])
    status = exponent.normalisation_status(speed / reference_speed)
    reason = _reason(trials, run, wind_source, status)
    n, u_n, m, u_m = _exponents(len(load))
    power = np.where(reason == "", run.power_w, np.nan)
    references = {
        "reference_wind_speed_m_s": reference_speed,
        "reference_air_density_kg_m3": reference_density,
    }
    normalised = exponent.normalise(
        power, speed, density, wind_exponent=n, density_exponent=m, **references
    )
    ln_wind, ln_density = np.log(reference_speed / speed), np.log(reference_density / density)
    u_own = uncertainty.own_uncertainty(
        run_count=run.count,
        ln_wind_ratio=ln_wind,
        ln_density_ratio=ln_density,
        u_wind_exponent=u_n,
        u_density_exponent=u_m,
        u_repeat=U_REPEAT,
        u_session=U_SESSION,
    )
    u_bench = uncertainty.bench_uncertainty(
        u_voltage=_voltage_uncertainty(trials, run),
        u_load=_load_uncertainty(trials),
        u_wind_speed=_wind_uncertainty(trials, speed, density),
        u_air_density=u_density,
        wind_exponent=n,
        density_exponent=m,
    )
    u_total = uncertainty.combine(u_own, u_bench)
    low, high = uncertainty.interval(normalised, u_total)
    rotor_speed, rotor_speed_source = _rotor_speed(trials, run, load)
    return TrialResults(
        power_w=run.power_w,
        run_count=run.count,
        ln_power_range=run.ln_power_range,
        largest_voltage_v=run.largest_voltage_v,
        smallest_voltage_v=run.smallest_voltage_v,
        air_density_kg_m3=density,
        air_density_source=density_source,
        wind_speed_m_s=speed,
        wind_speed_source=wind_source,
        wind_power_w=wind.wind_power(density, area, speed),
        power_coefficient=power_coefficient(run.power_w, density, area, speed),
        rotor_speed_rpm=rotor_speed,
        rotor_speed_source=rotor_speed_source,
        tip_speed_ratio=tip_speed_ratio(rotor_speed, _numbers(trials["rotor_diameter_m"]), speed),
        specific_power_w_m2=normalised / area,
        normalised_power_w=normalised,
        normalised_power_cubic_w=exponent.textbook_cubic(power, speed, density, **references),
        wind_exponent=n,
        density_exponent=m,
        u_wind_exponent=u_n,
        u_density_exponent=u_m,
        ln_wind_ratio=ln_wind,
        ln_density_ratio=ln_density,
        u_own=u_own,
        u_bench=u_bench,
        u_total=u_total,
        interval_low_w=low,
        interval_high_w=high,
        normalisation=status,
        reason=reason,
    )


def _numbers(column: npt.NDArray[np.generic]) -> FloatArray:
    return np.asarray(column, dtype=np.float64)


def _integers(column: npt.NDArray[np.generic]) -> IntArray:
    return np.asarray(column, dtype=np.int64)


def _is_power_kind(trials: Columns) -> npt.NDArray[np.bool_]:
    return np.isin(np.asarray(trials["kind"]), POWER_KINDS)


def _air(trials: Columns) -> tuple[FloatArray, FloatArray, TextArray]:
    """Return density, its uncertainty, and what it rests on."""
    temperature = _numbers(trials["air_temperature_c"])
    pressure, altitude = _numbers(trials["pressure_hpa"]), _numbers(trials["altitude_m"])
    humidity = _numbers(trials["relative_humidity_pct"])
    no_thermometer, no_barometer = np.isnan(temperature), np.isnan(pressure)
    no_altitude = no_barometer & np.isnan(altitude)
    by_altitude = np.where(no_altitude, STANDARD_PRESSURE_HPA, standard_pressure(altitude))
    density = moist_air_density(
        np.where(no_thermometer, ASSUMED_TEMPERATURE_C, temperature),
        np.where(no_barometer, by_altitude, pressure),
        np.where(np.isnan(humidity), ASSUMED_HUMIDITY_PCT, humidity),
    )
    u_density = uncertainty.combine(
        np.where(no_thermometer, U_TEMPERATURE_ASSUMED, U_AIR_DENSITY),
        np.where(no_altitude, U_PRESSURE_ASSUMED, 0.0),
    )
    source = np.select(
        [no_thermometer | no_altitude, no_barometer], ["assumed", "altitude"], "measured"
    )
    return density, u_density, source


def _wind(trials: Columns, run: Runs) -> tuple[FloatArray, TextArray]:
    """Return the free wind speed at the rotor plane, and what it rests on."""
    grid, monitor = _numbers(trials["grid_wind_speed_m_s"]), _numbers(trials["grid_monitor_m_s"])
    start, end = _numbers(trials["wind_speed_start_m_s"]), _numbers(trials["wind_speed_end_m_s"])
    sitting = np.where(np.isnan(start), end, np.where(np.isnan(end), start, (start + end) / 2))
    scale = grid / monitor
    choices = {
        "trial": _numbers(trials["wind_speed_m_s"]),
        "runs": run.wind_speed_m_s,
        "session": np.where(np.isnan(scale), sitting, sitting * scale),
        "grid": grid,
    }
    has_meter = np.asarray(trials["anemometer_type"]) != "none"
    known = [np.isfinite(choice) & has_meter for choice in choices.values()]
    speed = np.select(known, list(choices.values()), np.nan)
    return speed * _blockage(trials), np.select(known, list(choices), "")


def _blockage(trials: Columns) -> FloatArray:
    """Return the factor from a tunnel's wind to the free wind; 1 before an open fan."""
    area = wind.swept_area(_numbers(trials["rotor_diameter_m"]))
    ratio = area / _numbers(trials["tunnel_area_m2"])
    return np.where(ratio > BLOCKAGE_FROM, wind.blockage_factor(ratio), 1.0)


def _exponents(count: int) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return wind and density exponents with their uncertainties."""
    return (
        np.full(count, exponent.DEFAULT_WIND_EXPONENT),
        np.full(count, exponent.DEFAULT_WIND_EXPONENT_UNCERTAINTY),
        np.full(count, exponent.DEFAULT_DENSITY_EXPONENT),
        np.full(count, exponent.DEFAULT_DENSITY_EXPONENT_UNCERTAINTY),
    )


def _reason(trials: Columns, run: Runs, wind_source: TextArray, status: TextArray) -> TextArray:
    """Return why a trial cannot be normalised; empty where it can."""
    low, high = exponent.BANDS[-1][1:]
    return np.select(
        [
            ~_is_power_kind(trials),
            np.isnan(run.power_w),
            run.power_w == 0,
            (wind_source == "") & (np.asarray(trials["anemometer_type"]) == "none"),
            wind_source == "",
            status == exponent.OUT_OF_RANGE,
        ],
        [
            "volts without a load tell how fast the rotor turns, not how strong it is",
            "power is not known from these readings",
            "at least one run gave no power",
            "this bench has no wind meter",
            "no wind speed is known for this trial, its session or its bench",
            f"the wind is outside {low:.2f} to {high:.2f} of the season's reference",
        ],
        "",
    )


def _voltage_uncertainty(trials: Columns, run: Runs) -> FloatArray:
    counts = _or_default(trials["meter_counts"], electrical.DEFAULT_METER_COUNTS)
    percent = _or_default(trials["meter_percent"], electrical.DEFAULT_METER_PERCENT)
    digits = _or_default(trials["meter_digits"], electrical.DEFAULT_METER_DIGITS)
    resolution = electrical.meter_resolution(_numbers(trials["meter_range_v"]), counts)
    with np.errstate(divide="ignore", invalid="ignore"):
        u_volt = (
            electrical.meter_standard_uncertainty(run.voltage_v, percent, digits, resolution)
            / run.voltage_v
        )
    return np.where(np.isfinite(u_volt), u_volt, electrical.DEFAULT_VOLTAGE_UNCERTAINTY)


def _load_uncertainty(trials: Columns) -> FloatArray:
    tolerance = _numbers(trials["load_tolerance_pct"])
    by_colour_code = electrical.resistor_standard_uncertainty(np.ones_like(tolerance), tolerance)
    return np.where(np.isnan(tolerance), electrical.DEFAULT_LOAD_UNCERTAINTY, by_colour_code)


def _wind_uncertainty(trials: Columns, speed: FloatArray, density: FloatArray) -> FloatArray:
    meter = wind.calibration_uncertainty(np.asarray(trials["anemometer_type"]), speed, density)
    profile = wind.profile_uncertainty(_numbers(trials["grid_points"]))
    return uncertainty.combine(meter, profile, np.full_like(meter, wind.SETTING_UNCERTAINTY))


def _rotor_speed(trials: Columns, run: Runs, load: FloatArray) -> tuple[FloatArray, TextArray]:
    """Return the rotor speed read or told by the generator's constants, and which."""
    told = rotor_speed_from_voltage(
        run.voltage_v,
        load,
        _numbers(trials["emf_constant_v_s_rad"]),
        _numbers(trials["winding_resistance_ohm"]),
        brush_drop_v=_or_default(trials["brush_drop_v"], DEFAULT_BRUSH_DROP_V),
        gear_ratio=_or_default(trials["gear_ratio"], 1.0),
    )
    known = [np.isfinite(run.rotor_speed_rpm), np.isfinite(told)]
    speed = np.select(known, [run.rotor_speed_rpm, told], np.nan)
    return speed, np.select(known, ["measured", "from_voltage"], "")


def _or_default(column: npt.NDArray[np.generic], default: float) -> FloatArray:
    values = _numbers(column)
    return np.where(np.isnan(values), default, values)

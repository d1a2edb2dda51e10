"""One name per quantity, with its unit, and the columns that calculations read.

The same word is the JSON field, the CSV heading, the frame column and the
parameter, so there is no mapping to get wrong. A missing number is NaN.
"""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar

import numpy as np
import numpy.typing as npt

if TYPE_CHECKING:
    import pandas as pd

FloatArray: TypeAlias = npt.NDArray[np.float64]
IntArray: TypeAlias = npt.NDArray[np.int64]
TextArray: TypeAlias = npt.NDArray[Any]

#: A number, an array or a Series; the result has the same type.
Numeric = TypeVar("Numeric", float, FloatArray, "pd.Series[float]")

UNITS = {
    "air_density_kg_m3": "kg/m³",
    "air_temperature_c": "°C",
    "altitude_m": "m",
    "blade_mass_kg": "kg",
    "current_a": "A",
    "distance_m": "m",
    "duration_s": "s",
    "emf_constant_v_s_rad": "V·s/rad",
    "hub_height_m": "m",
    "load_ohm": "Ω",
    "meter_range_v": "V",
    "normalised_power_w": "W",
    "pitch_deg": "°",
    "power_w": "W",
    "pressure_hpa": "hPa",
    "relative_humidity_pct": "%",
    "rotor_diameter_m": "m",
    "rotor_speed_rpm": "1/min",
    "specific_power_w_m2": "W/m²",
    "tunnel_area_m2": "m²",
    "voltage_v": "V",
    "warm_up_min": "min",
    "wind_speed_m_s": "m/s",
    "winding_resistance_ohm": "Ω",
}

#: One row per run: `trial` is the position of its trial in the trials' columns.
RUN_COLUMNS = (
    "trial",
    "voltage_v",
    "mean_square_voltage_v2",
    "current_a",
    "rotor_speed_rpm",
    "wind_speed_m_s",
)

#: One row per trial: its own facts and those of its session, bench, build and equipment.
TRIAL_COLUMNS = (
    "kind",
    "load_ohm",
    "load_tolerance_pct",
    "meter_range_v",
    "meter_counts",
    "meter_percent",
    "meter_digits",
    "wind_speed_m_s",
    "wind_speed_start_m_s",
    "wind_speed_end_m_s",
    "grid_wind_speed_m_s",
    "grid_monitor_m_s",
    "grid_points",
    "anemometer_type",
    "tunnel_area_m2",
    "air_temperature_c",
    "pressure_hpa",
    "relative_humidity_pct",
    "altitude_m",
    "rotor_diameter_m",
    "emf_constant_v_s_rad",
    "winding_resistance_ohm",
    "brush_drop_v",
    "gear_ratio",
    "reference_wind_speed_m_s",
    "reference_air_density_kg_m3",
    "sweep_exponent",
    "sweep_standard_error",
    "sweep_slowest_m_s",
    "sweep_fastest_m_s",
    "season_sweeps",
    "season_mean_exponent",
    "season_mean_square_exponent",
    "season_mean_square_error",
)

#: Further columns of a trial that the data checks read: ids, settings and notes.
CHECK_COLUMNS = (
    "trial_id",
    "build_id",
    "turbine_id",
    "session_id",
    "bench_id",
    "state",
    "started_at",
    "build_number",
    "pitch_deg",
    "pitch_after_deg",
    "blade_pitch_range_deg",
    "sheet_diameter_m",
    "build_pitch_deg",
    "build_load_ohm",
    "previous_pitch_deg",
    "previous_load_ohm",
    "next_pitch_deg",
    "next_load_ohm",
    "changed_factor",
    "load_record_ohm",
    "rated_power_w",
    "fan_diameter_m",
    "fan_setting",
    "fan_setting_used",
    "distance_m",
    "distance_used_m",
    "grid_unevenness",
    "warm_up_min",
    "anemometer_checked_at",
    "season_starts_at",
    "season_ends_at",
    "note",
    "session_note",
    "build_note",
    "team_name",
)

#: Further columns of a run that the data checks read.
CHECK_RUN_COLUMNS = ("duration_s", "series_variation", "series_drift", "series_block_variation")

#: Columns that hold words, not numbers.
TEXT_COLUMNS = ("kind", "anemometer_type")
CHECK_TEXT_COLUMNS = (
    "trial_id",
    "build_id",
    "turbine_id",
    "session_id",
    "bench_id",
    "state",
    "changed_factor",
    "fan_setting",
    "fan_setting_used",
    "note",
    "session_note",
    "build_note",
    "team_name",
)

#: Kinds of trial that give power, because the voltage was measured across a load.
POWER_KINDS = ("record", "pitch", "load", "wind", "reference", "visit", "event")


Columns = Mapping[str, npt.NDArray[np.generic]]


def first_known(choices: list[FloatArray]) -> FloatArray:
    """Return, for each row, the first value that is known.

    Parameters
    ----------
    choices : list of array, shape (n,)
        NaN where a value is not known; the best choice first.

    Returns
    -------
    array, shape (n,)
        NaN where none is known.

    Examples
    --------
    >>> first_known([np.array([np.nan, 2.0]), np.array([1.0, 3.0])]).tolist()
    [1.0, 2.0]
    """
    values = np.full_like(choices[-1], np.nan)
    for choice in reversed(choices):
        values = np.where(np.isfinite(choice), choice, values)
    return values


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
        Value where a number is not known.

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

"""Build columns of invented trials, and compute their results."""

import math

import pandas as pd

from analysis.columns import RUN_COLUMNS, TEXT_COLUMNS, TRIAL_COLUMNS
from analysis.trials.results import trial_results

#: 1.2 V across 30.1 Ω at 4.2 m/s, 22 °C, 950 hPa, 45 %: the worked trial.
WORKED = {
    "kind": "record", "load_ohm": 30.1, "meter_range_v": 2.0, "meter_counts": 1999.0,
    "meter_percent": 0.5, "meter_digits": 2.0, "wind_speed_start_m_s": 4.2, "grid_points": 5.0,
    "anemometer_type": "vane", "air_temperature_c": 22.0, "pressure_hpa": 950.0,
    "relative_humidity_pct": 45.0, "altitude_m": 540.0, "rotor_diameter_m": 0.45,
    "gear_ratio": 1.0, "reference_wind_speed_m_s": 4.0, "reference_air_density_kg_m3": 1.225,
}  # fmt: skip


def trials_frame(*changed):
    """Return the worked trial once for each change."""
    rows = [WORKED | change for change in changed or ({},)]
    return pd.DataFrame(
        {
            name: [row.get(name, "" if name in TEXT_COLUMNS else math.nan) for row in rows]
            for name in TRIAL_COLUMNS
        }
    )


def runs_frame(*readings, trial=0):
    """Return runs of one trial; a number is its volts."""
    rows = [each if isinstance(each, dict) else {"voltage_v": each} for each in readings]
    return pd.DataFrame(
        {name: [row.get(name, math.nan) for row in rows] for name in RUN_COLUMNS}
    ).assign(trial=trial)


def result_of(readings=(1.2, 1.2, 1.2), **changed):
    return trial_results(trials_frame(changed), runs_frame(*readings))

"""List the limits of each rule of the checks: facts of a trial just inside and just outside it.

The values were calculated by hand from the limits of the rules; they are grouped by module.
"""

import math

import pytest

from tests.support.checked_trials import DAY
from tests.support.trial_columns import result_of


def volts_apart(ln_power):
    """Return voltages whose powers differ by this much on the logarithmic scale."""
    return (1.2, 1.2, 1.2 * math.exp(ln_power / 2))


def series(**steady):
    return {"mean_square_voltage_v2": 1.44, **steady}


def betz(coefficient):
    """Return the volts across 30.1 Ω that belong to a power coefficient in the worked wind."""
    return (math.sqrt(coefficient * result_of().wind_power_w[0] * 30.1),) * 3


#: By module: a rule, and facts of one trial just inside and just outside it.
EDGES = {
    "build": [
        ("mixed_change", "info", {"changed_factor": "blade count"},
         {"changed_factor": "pitch and load"}),
    ],
    "history": [
        ("wind_unit_slip", "hold", {"wind_speed_m_s": 5.0}, {"wind_speed_m_s": 9.4}),
    ],
    "personal_data": [
        ("personal_data", "warn", {"note": "blade 2 was loose, wind from the door"},
         {"note": "ask j.doe@example.org"}),
    ],
    "session": [
        ("humidity_fraction", "hold", {"relative_humidity_pct": 1.1},
         {"relative_humidity_pct": 0.45}),
        ("temperature_unit", "hold", {"air_temperature_c": 44.9}, {"air_temperature_c": 45.0}),
        ("sea_level_pressure", "warn", {"pressure_hpa": 955.0}, {"pressure_hpa": 1013.0}),
        # ISO 2533 at 540 m: 950 hPa
        ("pressure_odd", "warn", {"pressure_hpa": 974.0}, {"pressure_hpa": 976.0}),
        ("cold_fan", "warn", {"warm_up_min": 5.0}, {"warm_up_min": 4.0}),
        ("wind_drifted", "warn", {"wind_speed_end_m_s": 4.32}, {"wind_speed_end_m_s": 4.34}),
        ("wind_drifted", "hold", {"wind_speed_end_m_s": 4.45}, {"wind_speed_end_m_s": 4.46}),
        ("bench_changed", "hold", {"fan_setting": "2", "fan_setting_used": "2"},
         {"fan_setting": "2", "fan_setting_used": "3"}),
        ("bench_changed", "hold", {"distance_m": 0.9, "distance_used_m": 0.91},
         {"distance_m": 0.9, "distance_used_m": 0.92}),
        ("single_wind_point", "warn", {"grid_points": 5.0}, {"grid_points": math.nan}),
        ("uneven_jet", "warn", {"grid_unevenness": 0.15}, {"grid_unevenness": 0.16}),
        ("stale_instrument", "warn", {"anemometer_checked_at": -360 * DAY},
         {"anemometer_checked_at": -370 * DAY}),
        ("date_odd", "warn", {"season_ends_at": 1.0}, {"season_ends_at": -1.0}),
    ],
    "trial": [
        ("runs_disagree", "warn", {"volts": volts_apart(0.129)}, {"volts": volts_apart(0.131)}),
        ("runs_disagree", "hold", {"volts": volts_apart(0.199)}, {"volts": volts_apart(0.201)}),
        # Betz: 16/27 = 0.5926 of ½ρAv³
        ("impossible_power", "hold", {"volts": betz(0.59)}, {"volts": betz(0.595)}),
        ("unlikely_power", "warn", {"volts": betz(0.249)}, {"volts": betz(0.251)}),
        ("millivolt_slip", "hold", {"volts": (19.9,) * 3}, {"volts": (20.1,) * 3}),
        ("kiloohm_slip", "hold", {"load_ohm": 0.51}, {"load_ohm": 0.49}),
        ("kiloohm_slip", "hold", {"load_ohm": 2.0, "build_load_ohm": 30.1},
         {"load_ohm": 2.0, "build_load_ohm": 2000.0}),
        ("load_slip", "hold", {"load_ohm": 30.1, "load_record_ohm": 27.0},
         {"load_ohm": 301.0, "load_record_ohm": 30.1}),
        ("load_slip", "hold", {"load_ohm": 300.0, "build_load_ohm": 30.1, "kind": "load"},
         {"load_ohm": 300.0, "build_load_ohm": 30.1}),
        # V²/R: 5.48 mV across 30.1 Ω are 0.998 µW
        ("unmeasurable_power", "hold", {"volts": (5.5e-3,) * 2 + (5.51e-3,)},
         {"volts": (5.47e-3,) * 2 + (5.48e-3,)}),
        ("diameter_slip", "hold", {"sheet_diameter_m": 0.46}, {"sheet_diameter_m": 0.225}),
        ("diameter_slip", "hold", {"sheet_diameter_m": 0.44}, {"sheet_diameter_m": 0.9}),
        ("pitch_from_axis", "hold", {"pitch_deg": 50.0}, {"pitch_deg": 50.5}),
        ("zero_volts", "hold", {"volts": ({"voltage_v": 0.1, "rotor_speed_rpm": 300.0},)},
         {"volts": ({"voltage_v": 0.001, "rotor_speed_rpm": 300.0},)}),
        ("meter_range_coarse", "warn", {"volts": (2.0,), "meter_range_v": 20.0},
         {"volts": (1.99,), "meter_range_v": 20.0}),
        ("load_hot", "warn", {"rated_power_w": 0.096}, {"rated_power_w": 0.095}),
        ("load_hot", "hold", {"rated_power_w": 0.048}, {"rated_power_w": 0.047}),
        ("load_differs", "warn", {"load_record_ohm": 31.6}, {"load_record_ohm": 31.8}),
        ("volts_amperes_ohms", "warn", {"volts": ({"voltage_v": 1.2, "current_a": 0.0400},) * 3},
         {"volts": ({"voltage_v": 1.2, "current_a": 0.0375},) * 3}),
        ("too_few_runs", "warn", {"volts": (1.2, 1.21, 1.2)}, {"volts": (1.2, 1.21)}),
        ("copied_runs", "warn", {"volts": (1.2, 1.2, 1.201)}, {"volts": (1.2, 1.2, 1.2)}),
        ("not_steady", "warn", {"volts": (series(series_variation=0.099),) * 3},
         {"volts": (series(series_variation=0.101),) * 3}),
        ("not_steady", "warn", {"volts": (series(series_drift=0.019),) * 3},
         {"volts": (series(series_drift=-0.021),) * 3}),
        ("short_run", "warn", {"volts": ({"voltage_v": 1.2, "duration_s": 15.0},) * 3},
         {"volts": ({"voltage_v": 1.2, "duration_s": 14.0},) * 3}),
        ("pitch_spread", "warn", {"blade_pitch_range_deg": 4.0}, {"blade_pitch_range_deg": 4.1}),
        ("pitch_moved", "hold", {"pitch_after_deg": 14.0}, {"pitch_after_deg": 14.1}),
        # λ = ω R/v: 850 a minute at 4.2 m/s and 0.225 m is 4.8; 1200 is 6.7
        ("tip_speed_odd", "warn", {"volts": ({"voltage_v": 1.2, "rotor_speed_rpm": 850.0},) * 3},
         {"volts": ({"voltage_v": 1.2, "rotor_speed_rpm": 1200.0},) * 3}),
        ("out_of_range_wind", "warn", {"wind_speed_m_s": 5.0}, {"wind_speed_m_s": 5.1}),
        ("default_exponent", "warn", {"wind_speed_m_s": 4.4}, {"wind_speed_m_s": 4.45}),
        ("rotor_wider_than_jet", "warn", {"fan_diameter_m": 0.57}, {"fan_diameter_m": 0.56}),
        # 0.45 m across is 0.159 m²
        ("tunnel_blockage", "warn", {"tunnel_area_m2": 1.07}, {"tunnel_area_m2": 1.05}),
    ],
}  # fmt: skip


def edges_of(module):
    """Return the rows of one module's rules as cases of a test."""
    return pytest.mark.parametrize(
        ("name", "severity", "inside", "outside"),
        [
            pytest.param(*edge, id=f"{edge[0]}-{edge[1]}-{at}")
            for at, edge in enumerate(EDGES[module])
        ],
    )

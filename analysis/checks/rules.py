"""List the rules of the data checks: name, severity and scope.

`block` refuses a trial, `hold` excludes it from reports until somebody answers, `warn` and `info`
are only shown. The sentences are in the message catalogue, by name and severity.
"""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["block", "hold", "warn", "info"]
Scope = Literal["trial", "session"]


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule: its name, and its effect on a trial or its session."""

    name: str
    severity: Severity
    scope: Scope = "trial"


_RULES = (
    Rule("load_not_stated", "block"),
    Rule("supervisor_missing", "block"),
    Rule("meter_over_range", "block"),
    Rule("wind_unit_slip", "hold"),
    Rule("millivolt_slip", "hold"),
    Rule("kiloohm_slip", "hold"),
    Rule("load_slip", "hold"),
    Rule("diameter_slip", "hold"),
    Rule("pitch_from_axis", "hold"),
    Rule("temperature_unit", "hold", "session"),
    Rule("voltage_unlike_before", "hold"),
    Rule("decimal_slip", "hold"),
    Rule("voltage_unlike_before", "warn"),
    Rule("impossible_power", "hold"),
    Rule("unmeasurable_power", "hold"),
    Rule("unlikely_power", "warn"),
    Rule("zero_volts", "hold"),
    Rule("runs_disagree", "warn"),
    Rule("runs_disagree", "hold"),
    Rule("duplicate", "hold"),
    Rule("copied_runs", "warn"),
    Rule("wrong_build", "warn"),
    Rule("jump", "warn"),
    Rule("meter_range_coarse", "warn"),
    Rule("load_hot", "warn"),
    Rule("load_hot", "hold"),
    Rule("load_differs", "warn"),
    Rule("volts_amperes_ohms", "warn"),
    Rule("too_few_runs", "warn"),
    Rule("not_steady", "warn"),
    Rule("short_run", "warn"),
    Rule("pitch_spread", "warn"),
    Rule("pitch_moved", "hold"),
    Rule("tip_speed_odd", "warn"),
    Rule("out_of_range_wind", "warn"),
    Rule("default_exponent", "warn"),
    Rule("not_a_power_law", "warn"),
    Rule("edge_optimum", "info"),
    Rule("mixed_change", "info"),
    Rule("humidity_fraction", "hold", "session"),
    Rule("sea_level_pressure", "warn", "session"),
    Rule("pressure_odd", "warn", "session"),
    Rule("cold_fan", "warn", "session"),
    Rule("wind_drifted", "warn", "session"),
    Rule("wind_drifted", "hold", "session"),
    Rule("bench_changed", "hold", "session"),
    Rule("no_reference", "warn", "session"),
    Rule("reference_off", "warn", "session"),
    Rule("reference_off", "hold", "session"),
    Rule("single_wind_point", "warn", "session"),
    Rule("uneven_jet", "warn", "session"),
    Rule("rotor_wider_than_jet", "warn"),
    Rule("tunnel_blockage", "warn"),
    Rule("stale_instrument", "warn", "session"),
    Rule("date_odd", "warn", "session"),
    Rule("personal_data", "warn"),
)

#: Every rule by its name and severity: some rules have two severities with different limits.
RULES = {(rule.name, rule.severity): rule for rule in _RULES}
GRAVEST: dict[Severity, int] = {"block": 0, "hold": 1, "warn": 2, "info": 3}

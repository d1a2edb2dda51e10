"""The columns of tidy results: name, kind, unit and meaning of each."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "number", "whole", "yes", "moment"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column; its unit is empty for texts and ratios."""

    name: str
    kind: Kind
    unit: str
    about: str


OF_TRIAL = (
    Column("trial_id", "text", "", "the trial's id"),
    Column("client_ref", "text", "", "the submitter's own name of the trial"),
    Column("season_id", "text", "", "the season's id"),
    Column("season", "text", "", "the season's name"),
    Column("organisation_id", "text", "", "the id of the school that the trial belongs to"),
    Column("organisation", "text", "", "that school's name"),
    Column("team_id", "text", "", "the team's id; empty for a reference rotor"),
    Column("team", "text", "", "the team's name"),
    Column("turbine_id", "text", "", "the turbine's id"),
    Column("turbine", "text", "", "the turbine's name"),
    Column("build_id", "text", "", "the build's id"),
    Column("build", "whole", "", "the number of the build"),
    Column("bench_id", "text", "", "the bench's id"),
    Column("bench", "text", "", "the bench's name"),
    Column("session_id", "text", "", "the session's id"),
    Column("session_started_at", "moment", "UTC", "when the session began"),
    Column("kind", "text", "", "the kind of the trial; record counts for the season"),
    Column("state", "text", "", "accepted, held (a question is open) or withdrawn"),
    Column("left_out", "text", "", "why the trial does not count for the season; empty if it does"),
    Column("pitch_deg", "number", "°", "blade pitch"),
    Column("load_ohm", "number", "Ω", "load resistor, as measured"),
    Column("load_connected", "yes", "", "whether the load was connected"),
    Column("meter_range_v", "number", "V", "range of the meter"),
    Column("air_temperature_c", "number", "°C", "air temperature of the session"),
    Column("pressure_hpa", "number", "hPa", "air pressure of the session, at the place"),
    Column("relative_humidity_pct", "number", "%", "relative humidity of the session"),
    Column("run_count", "whole", "", "the number of runs"),
    Column("power_w", "number", "W", "power, geometric mean over the runs"),
    Column("wind_speed_m_s", "number", "m/s", "wind speed used"),
    Column("wind_speed_source", "text", "", "trial, runs, session or grid"),
    Column("air_density_kg_m3", "number", "kg/m³", "air density used"),
    Column("air_density_source", "text", "", "measured, altitude or assumed"),
    Column("wind_power_w", "number", "W", "power of the wind through the rotor's area"),
    Column("power_coefficient", "number", "", "power over wind power"),
    Column("rotor_speed_rpm", "number", "1/min", "rotor speed"),
    Column("rotor_speed_source", "text", "", "measured or from_voltage"),
    Column("tip_speed_ratio", "number", "", "tip speed over wind speed"),
    Column("specific_power_w_m2", "number", "W/m²", "normalised power over swept area"),
    Column("normalised_power_w", "number", "W", "power at the season's wind and air"),
    Column("normalised_power_cubic_w", "number", "W", "the same by the cube rule"),
    Column("interval_low_w", "number", "W", "lower end of its interval, k = 2"),
    Column("interval_high_w", "number", "W", "upper end of its interval, k = 2"),
    Column("wind_exponent", "number", "", "exponent of the wind speed used"),
    Column("wind_exponent_source", "text", "", "default or own"),
    Column("density_exponent", "number", "", "exponent of the air density used"),
    Column("u_own", "number", "", "relative standard uncertainty of the team's own readings"),
    Column("u_bench", "number", "", "relative standard uncertainty from the bench"),
    Column("u_total", "number", "", "relative standard uncertainty of both"),
    Column("normalisation", "text", "", "direct, default, provisional or out_of_range"),
    Column(
        "open_flags",
        "text",
        "",
        "rules of open flags, with spaces between them; empty if there are none",
    ),
    Column("created_at", "moment", "UTC", "when the trial was stored"),
    Column("updated_at", "moment", "UTC", "when it was last changed, or its figures were"),
)
OF_RUN = (
    Column("run", "whole", "", "the number of the run within its trial"),
    Column("run_voltage_v", "number", "V", "voltage read"),
    Column("run_current_a", "number", "A", "current read"),
    Column("run_rotor_speed_rpm", "number", "1/min", "rotor speed read"),
    Column("run_wind_speed_m_s", "number", "m/s", "wind speed read"),
    Column("run_duration_s", "number", "s", "duration"),
)
COLUMNS = {"trials": OF_TRIAL, "runs": OF_TRIAL + OF_RUN}


def describe(columns: Sequence[Column]) -> str:
    """Return names with their meanings, as one line.

    >>> describe(OF_TRIAL[:2])
    "`trial_id`: the trial's id; `client_ref`: the submitter's own name of the trial"
    """
    return "; ".join(f"`{column.name}`: {column.about}" for column in columns)

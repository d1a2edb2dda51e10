"""The queries for the parts of a frame: trials, sessions, builds, resistors and runs.

A session's air and a build's rotor are read once, not once for each of their trials.
"""

from dataclasses import dataclass
from functools import cache
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, bindparam, func, select
from sqlalchemy.orm import aliased
from sqlmodel import col

from analysis.columns import CHECK_RUN_COLUMNS
from api.models.measurements.sweeps import WindSweep
from api.models.registry.benches import Bench, WindGrid
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Run, Trial
from api.prepared import Prepared

Condition = ColumnElement[bool]

Generator = aliased(Equipment, name="generator")
Meter = aliased(Equipment, name="meter")
Anemometer = aliased(Equipment, name="anemometer")
Fan = aliased(Equipment, name="fan")
PreviousBuild = aliased(Build, name="previous_build")
NextBuild = aliased(Build, name="next_build")
BenchOwner = aliased(Organisation, name="bench_owner")

newest_grid = (
    select(col(WindGrid.bench_id), func.max(col(WindGrid.id)).label("grid_id"))
    .group_by(col(WindGrid.bench_id))
    .subquery("newest_grid")
)

#: The mean exponents of all sweeps of a season, without those of reference rotors.
season_sweeps = (
    select(
        col(WindSweep.season_id),
        func.count().label("sweeps"),
        func.avg(WindSweep.exponent).label("mean"),
        func.avg(col(WindSweep.exponent) * col(WindSweep.exponent)).label("mean_square"),
        func.avg(col(WindSweep.standard_error) * col(WindSweep.standard_error)).label(
            "mean_square_error"
        ),
    )
    .join(Build, col(Build.id) == col(WindSweep.build_id))
    .where(col(Build.organisation_id).is_not(None))
    .group_by(col(WindSweep.season_id))
    .subquery("season_sweeps")
)


def _spec(equipment: Any, key: str) -> ColumnElement[float]:
    return equipment.spec[key].as_float()  # type: ignore[no-any-return]  # JSON column of an alias


#: Columns of the trial itself; its ids join the parts below.
OF_TRIAL: dict[str, Any] = {
    "trial_id": col(Trial.id),
    "organisation_id": col(Trial.organisation_id),
    "season_id": col(Trial.season_id),
    "session_id": col(Trial.session_id),
    "build_id": col(Trial.build_id),
    "load_id": col(Trial.load_id),
    "state": col(Trial.state),
    "kind": col(Trial.kind),
    "pitch_deg": col(Trial.pitch_deg),
    "load_ohm": col(Trial.load_ohm),
    "meter_range_v": col(Trial.meter_range_v),
    "wind_speed_m_s": col(Trial.wind_speed_m_s),
}
OF_CHECKED_TRIAL: dict[str, Any] = {
    "pitch_after_deg": col(Trial.pitch_after_deg),
    "blade_pitches_deg": col(Trial.blade_pitches_deg),
    "sheet_diameter_m": col(Trial.rotor_diameter_m),
    "note": col(Trial.note),
}

OF_SESSION: dict[str, Any] = {
    "session_id": col(BenchSession.id),
    "bench_id": col(BenchSession.bench_id),
    "started_at": col(BenchSession.started_at),
    "meter_counts": _spec(Meter, "counts"),
    "meter_percent": _spec(Meter, "percent"),
    "meter_digits": _spec(Meter, "digits"),
    "wind_speed_start_m_s": col(BenchSession.wind_speed_start_m_s),
    "wind_speed_end_m_s": col(BenchSession.wind_speed_end_m_s),
    "grid_wind_speed_m_s": col(WindGrid.equivalent_wind_speed_m_s),
    "grid_monitor_m_s": col(WindGrid.monitor_wind_speed_m_s),
    "grid_points": col(WindGrid.point_count),
    "anemometer_type": Anemometer.spec["type"].as_string(),
    "tunnel_area_m2": col(Bench.tunnel_area_m2),
    "air_temperature_c": col(BenchSession.air_temperature_c),
    "pressure_hpa": col(BenchSession.pressure_hpa),
    "relative_humidity_pct": col(BenchSession.relative_humidity_pct),
    "altitude_m": BenchOwner.altitude_m,
    "reference_wind_speed_m_s": col(Season.reference_wind_speed_m_s),
    "reference_air_density_kg_m3": col(Season.reference_air_density_kg_m3),
    "season_sweeps": season_sweeps.c.sweeps,
    "season_mean_exponent": season_sweeps.c.mean,
    "season_mean_square_exponent": season_sweeps.c.mean_square,
    "season_mean_square_error": season_sweeps.c.mean_square_error,
}
#: Days of seasons and instruments are converted to seconds after reading.
OF_CHECKED_SESSION: dict[str, Any] = {
    "bench_organisation_id": col(Bench.organisation_id),
    "fan_diameter_m": _spec(Fan, "diameter_m"),
    "fan_setting": col(Bench.fan_setting),
    "fan_setting_used": col(BenchSession.fan_setting_used),
    "distance_m": col(Bench.distance_m),
    "distance_used_m": col(BenchSession.distance_used_m),
    "grid_unevenness": col(WindGrid.unevenness),
    "warm_up_min": col(BenchSession.warm_up_min),
    "anemometer_checked_on": Anemometer.spec["checked_on"].as_string(),
    "season_starts_on": col(Season.starts_on),
    "season_ends_on": col(Season.ends_on),
    "session_note": col(BenchSession.note),
}

OF_BUILD: dict[str, Any] = {
    "build_id": col(Build.id),
    "team_id": col(Turbine.team_id),
    "turbine_id": col(Build.turbine_id),
    "build_number": col(Build.number),
    "rotor_diameter_m": col(Build.rotor_diameter_m),
    "emf_constant_v_s_rad": _spec(Generator, "emf_constant_v_s_rad"),
    "winding_resistance_ohm": _spec(Generator, "winding_resistance_ohm"),
    "brush_drop_v": _spec(Generator, "brush_drop_v"),
    "gear_ratio": col(Turbine.gear_ratio),
}
OF_CHECKED_BUILD: dict[str, Any] = {
    "build_pitch_deg": col(Build.pitch_deg),
    "build_load_ohm": col(Build.load_ohm),
    "previous_pitch_deg": PreviousBuild.pitch_deg,
    "previous_load_ohm": PreviousBuild.load_ohm,
    "next_pitch_deg": NextBuild.pitch_deg,
    "next_load_ohm": NextBuild.load_ohm,
    "changed_factor": col(Build.changed_factor),
    "build_note": col(Build.note),
    "team_name": col(Team.name),
}

#: Columns of a build's own sweep in a season.
OF_SWEEP: dict[str, Any] = {
    "build_id": col(WindSweep.build_id),
    "season_id": col(WindSweep.season_id),
    "sweep_exponent": col(WindSweep.exponent),
    "sweep_standard_error": col(WindSweep.standard_error),
    "sweep_slowest_m_s": col(WindSweep.slowest_m_s),
    "sweep_fastest_m_s": col(WindSweep.fastest_m_s),
}

OF_LOAD: dict[str, Any] = {
    "load_id": col(Equipment.id),
    "load_measured_ohm": _spec(Equipment, "measured_ohm"),
    "load_tolerance_pct": _spec(Equipment, "tolerance_pct"),
    "load_nominal_ohm": _spec(Equipment, "nominal_ohm"),
    "rated_power_w": _spec(Equipment, "rated_power_w"),
}

RUN_FRAME = (
    "voltage_v",
    "mean_square_voltage_v2",
    "current_a",
    "rotor_speed_rpm",
    "wind_speed_m_s",
)


@cache
def trial_columns(*, is_checked: bool) -> dict[str, Any]:
    """Return the columns of trials by their names."""
    return OF_TRIAL | (OF_CHECKED_TRIAL if is_checked else {})


@cache
def session_columns(*, is_checked: bool) -> dict[str, Any]:
    """Return the columns of sessions by their names."""
    return OF_SESSION | (OF_CHECKED_SESSION if is_checked else {})


@cache
def build_columns(*, is_checked: bool) -> dict[str, Any]:
    """Return the columns of builds by their names."""
    return OF_BUILD | (OF_CHECKED_BUILD if is_checked else {})


@cache
def _trials(*, is_checked: bool) -> Select[Any]:
    """Return the query for trials, in the order of their ids."""
    return _select(trial_columns(is_checked=is_checked)).order_by(col(Trial.id))


@cache
def _sessions(*, is_checked: bool) -> Select[Any]:
    """Return the query for session ⋈ bench ⋈ season and their equipment.

    It is built once, like that for builds: building it takes longer than reading a bench.
    """
    return (
        _select(session_columns(is_checked=is_checked))
        .select_from(BenchSession)
        .join(Bench, col(BenchSession.bench_id) == col(Bench.id))
        .join(BenchOwner, col(Bench.organisation_id) == BenchOwner.id)
        .join(Season, col(BenchSession.season_id) == col(Season.id))
        .join(Anemometer, col(Bench.anemometer_id) == Anemometer.id)
        .outerjoin(Meter, col(BenchSession.meter_id) == Meter.id)
        .outerjoin(Fan, col(Bench.fan_id) == Fan.id)
        .outerjoin(newest_grid, newest_grid.c.bench_id == col(Bench.id))
        .outerjoin(WindGrid, col(WindGrid.id) == newest_grid.c.grid_id)
        .outerjoin(season_sweeps, season_sweeps.c.season_id == col(BenchSession.season_id))
    )


@cache
def _builds(*, is_checked: bool) -> Select[Any]:
    """Return the query for build ⋈ turbine."""
    statement = (
        _select(build_columns(is_checked=is_checked))
        .select_from(Build)
        .join(Turbine, col(Build.turbine_id) == col(Turbine.id))
        .outerjoin(Generator, col(Turbine.generator_id) == Generator.id)
    )
    if not is_checked:
        return statement
    for neighbour, step in ((PreviousBuild, -1), (NextBuild, 1)):
        is_neighbour = and_(
            col(neighbour.turbine_id) == col(Build.turbine_id),
            col(neighbour.number) == col(Build.number) + step,
        )
        statement = statement.outerjoin(neighbour, is_neighbour)
    return statement.outerjoin(Team, col(Turbine.team_id) == col(Team.id))


def _select(columns: dict[str, Any]) -> Select[Any]:
    return select(*(expression.label(name) for name, expression in columns.items()))


def run_names(*, is_checked: bool) -> tuple[str, ...]:
    """Return the columns of runs, in addition to their trial's id."""
    return (*RUN_FRAME, *CHECK_RUN_COLUMNS) if is_checked else RUN_FRAME


@cache
def _runs(*, is_checked: bool) -> Select[Any]:
    """Return the query for runs, in the order of their trials' ids."""
    names = run_names(is_checked=is_checked)
    return select(col(Run.trial_id), *(getattr(Run, name) for name in names)).order_by(
        col(Run.trial_id), col(Run.number)
    )


@dataclass(frozen=True, slots=True)
class FrameQueries:
    """The queries for the parts of a frame: trials and runs are in the order of ids."""

    trials: Select[Any] | Prepared
    sessions: Select[Any] | Prepared
    builds: Select[Any] | Prepared
    sweeps: Select[Any] | Prepared
    loads: Select[Any] | Prepared
    runs: Select[Any] | Prepared


def frame_queries(*conditions: Condition, is_checked: bool) -> FrameQueries:
    """Return the queries for the trials that meet the conditions."""

    def of_them(column: Any) -> Select[Any]:
        return select(col(column)).where(*conditions)

    is_theirs = col(BenchSession.id).in_(of_them(Trial.session_id))
    return FrameQueries(
        trials=_trials(is_checked=is_checked).where(*conditions),
        sessions=_sessions(is_checked=is_checked).where(is_theirs),
        builds=_builds(is_checked=is_checked).where(col(Build.id).in_(of_them(Trial.build_id))),
        sweeps=_select(OF_SWEEP).where(col(WindSweep.build_id).in_(of_them(Trial.build_id))),
        loads=_select(OF_LOAD).where(col(Equipment.id).in_(of_them(Trial.load_id))),
        runs=_runs(is_checked=is_checked)
        .join(Trial, col(Run.trial_id) == col(Trial.id))
        .where(*conditions),
    )


@cache
def queries_by_id(*, is_checked: bool) -> FrameQueries:
    """Return the queries for the trials in `trial_ids`, and for what has the ids found in them.

    They are composed once: for a few trials, composing them takes longer than running them.
    """

    def among(query: Select[Any], column: Any, ids: str) -> Prepared:
        return Prepared(query.where(col(column).in_(bindparam(ids, expanding=True))))

    return FrameQueries(
        trials=among(_trials(is_checked=is_checked), Trial.id, "trial_ids"),
        sessions=among(_sessions(is_checked=is_checked), BenchSession.id, "session_ids"),
        builds=among(_builds(is_checked=is_checked), Build.id, "build_ids"),
        sweeps=among(_select(OF_SWEEP), WindSweep.build_id, "build_ids"),
        loads=among(_select(OF_LOAD), Equipment.id, "load_ids"),
        runs=among(_runs(is_checked=is_checked), Run.trial_id, "trial_ids"),
    )

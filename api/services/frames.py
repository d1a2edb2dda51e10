"""The one bridge from rows to the columns that `analysis` calculates with.

Everything a calculation may want is a column here, in one statement for a page
of trials and for a whole season.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import ColumnElement, and_, func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from analysis.columns import CHECK_RUN_COLUMNS, CHECK_TEXT_COLUMNS, TEXT_COLUMNS
from api.models.benches import Bench, WindGrid
from api.models.builds import Build
from api.models.equipment import Equipment
from api.models.organisations import Organisation
from api.models.seasons import Season
from api.models.sessions import BenchSession
from api.models.sweeps import WindSweep
from api.models.teams import Team
from api.models.trials import Run, Trial
from api.models.turbines import Turbine

Array = npt.NDArray[Any]

Generator = aliased(Equipment, name="generator")
Meter = aliased(Equipment, name="meter")
LoadResistor = aliased(Equipment, name="load_resistor")
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

#: What all sweeps of a season say together; a reference rotor's is not a team's, and left out.
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


TRIAL_FRAME: dict[str, Any] = {
    "trial_id": col(Trial.id),
    "organisation_id": col(Trial.organisation_id),
    "team_id": col(Team.id),
    "turbine_id": col(Turbine.id),
    "build_id": col(Build.id),
    "build_number": col(Build.number),
    "bench_id": col(Bench.id),
    "session_id": col(BenchSession.id),
    "started_at": col(BenchSession.started_at),
    "state": col(Trial.state),
    "kind": col(Trial.kind),
    "pitch_deg": col(Trial.pitch_deg),
    "load_ohm": col(Trial.load_ohm),
    "load_measured_ohm": _spec(LoadResistor, "measured_ohm"),
    "load_tolerance_pct": _spec(LoadResistor, "tolerance_pct"),
    "meter_range_v": col(Trial.meter_range_v),
    "meter_counts": _spec(Meter, "counts"),
    "meter_percent": _spec(Meter, "percent"),
    "meter_digits": _spec(Meter, "digits"),
    "wind_speed_m_s": col(Trial.wind_speed_m_s),
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
    "rotor_diameter_m": col(Build.rotor_diameter_m),
    "emf_constant_v_s_rad": _spec(Generator, "emf_constant_v_s_rad"),
    "winding_resistance_ohm": _spec(Generator, "winding_resistance_ohm"),
    "brush_drop_v": _spec(Generator, "brush_drop_v"),
    "gear_ratio": col(Turbine.gear_ratio),
    "reference_wind_speed_m_s": col(Season.reference_wind_speed_m_s),
    "reference_air_density_kg_m3": col(Season.reference_air_density_kg_m3),
    "sweep_exponent": col(WindSweep.exponent),
    "sweep_standard_error": col(WindSweep.standard_error),
    "sweep_slowest_m_s": col(WindSweep.slowest_m_s),
    "sweep_fastest_m_s": col(WindSweep.fastest_m_s),
    "season_sweeps": season_sweeps.c.sweeps,
    "season_mean_exponent": season_sweeps.c.mean,
    "season_mean_square_exponent": season_sweeps.c.mean_square,
    "season_mean_square_error": season_sweeps.c.mean_square_error,
}

#: What the checks read beside that; a season's first and last moment, and an instrument's day, are
#: turned into seconds after reading.
CHECKED_FRAME: dict[str, Any] = {
    "bench_organisation_id": col(Bench.organisation_id),
    "pitch_after_deg": col(Trial.pitch_after_deg),
    "blade_pitches_deg": col(Trial.blade_pitches_deg),
    "sheet_diameter_m": col(Trial.rotor_diameter_m),
    "build_pitch_deg": col(Build.pitch_deg),
    "build_load_ohm": col(Build.load_ohm),
    "previous_pitch_deg": PreviousBuild.pitch_deg,
    "previous_load_ohm": PreviousBuild.load_ohm,
    "next_pitch_deg": NextBuild.pitch_deg,
    "next_load_ohm": NextBuild.load_ohm,
    "changed_factor": col(Build.changed_factor),
    "load_nominal_ohm": _spec(LoadResistor, "nominal_ohm"),
    "load_record_ohm": _spec(LoadResistor, "measured_ohm"),
    "rated_power_w": _spec(LoadResistor, "rated_power_w"),
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
    "note": col(Trial.note),
    "session_note": col(BenchSession.note),
    "build_note": col(Build.note),
    "team_name": col(Team.name),
}

#: Columns that are neither numbers nor words, and are turned into numbers after reading.
OBJECTS = (
    "started_at",
    "blade_pitches_deg",
    "anemometer_checked_on",
    "season_starts_on",
    "season_ends_on",
)

IDENTITY = (
    "trial_id",
    "organisation_id",
    "bench_organisation_id",
    "team_id",
    "turbine_id",
    "build_id",
    "bench_id",
    "session_id",
    "state",
)

RUN_FRAME = (
    "voltage_v",
    "mean_square_voltage_v2",
    "current_a",
    "rotor_speed_rpm",
    "wind_speed_m_s",
)
SECONDS_A_DAY = 86_400.0


@dataclass(frozen=True, slots=True)
class Frame:
    """Trials as columns, in the order of their ids, and their runs."""

    trials: dict[str, Array]
    runs: dict[str, Array]

    def __len__(self) -> int:
        return len(self.trials["trial_id"])


def read_frame(db: Session, *conditions: ColumnElement[bool]) -> Frame:
    """Return the trials that meet some conditions on `Trial`, with all that results rest on."""
    rows = db.connection().execute(_of_all().where(*conditions)).all()
    return _frame(db, _columns(list(TRIAL_FRAME), rows), RUN_FRAME, *conditions)


def read_checked_frame(db: Session, *conditions: ColumnElement[bool]) -> Frame:
    """Return such trials with all that the data checks read as well."""
    rows = db.connection().execute(_of_all_checked().where(*conditions)).all()
    trials = _columns([*TRIAL_FRAME, *CHECKED_FRAME], rows)
    trials["blade_pitch_range_deg"] = np.array(
        [max(each) - min(each) if each else np.nan for each in trials.pop("blade_pitches_deg")],
        dtype=np.float64,
    )
    trials["anemometer_checked_at"] = _seconds(trials.pop("anemometer_checked_on"), 0)
    trials["season_starts_at"] = _seconds(trials.pop("season_starts_on"), -1)
    trials["season_ends_at"] = _seconds(trials.pop("season_ends_on"), 2)
    nominal = trials.pop("load_nominal_ohm")
    measured = trials["load_record_ohm"]
    trials["load_record_ohm"] = np.where(np.isnan(measured), nominal, measured)
    return _frame(db, trials, (*RUN_FRAME, *CHECK_RUN_COLUMNS), *conditions)


def _seconds(days: Array, later: int) -> Array:
    """Return the moments some days after dates begin, NaN where there is no date."""
    return np.array(
        [
            np.nan
            if not day
            else datetime.combine(_day(day), time.min, UTC).timestamp() + later * SECONDS_A_DAY
            for day in days
        ],
        dtype=np.float64,
    )


def _day(day: date | str) -> date:
    return date.fromisoformat(day) if isinstance(day, str) else day


def _frame(
    db: Session, trials: dict[str, Array], run_names: Sequence[str], *conditions: Any
) -> Frame:
    """Return trials with their runs, resistors' tolerances settled and moments as seconds."""
    trials["started_at"] = np.array([moment.timestamp() for moment in trials["started_at"]])
    # A resistor that was measured is known by that; otherwise its printed tolerance counts.
    trials["load_tolerance_pct"] = np.where(
        np.isnan(trials.pop("load_measured_ohm")), trials["load_tolerance_pct"], np.nan
    )
    rows = db.connection().execute(_runs(run_names, *conditions)).all()
    runs = _columns(["trial_id", *run_names], rows)
    runs["trial"] = np.searchsorted(
        trials["trial_id"].astype(str), runs.pop("trial_id").astype(str)
    )
    return Frame(trials, runs)


@cache
def _of_all() -> Any:
    """Return the statement over all trials, put together once: that takes longer than a bench."""
    return _trials(TRIAL_FRAME)


@cache
def _of_all_checked() -> Any:
    """Return the same with what the data checks read beside it."""
    statement = _trials(TRIAL_FRAME | CHECKED_FRAME).outerjoin(Fan, col(Bench.fan_id) == Fan.id)
    for beside, step in ((PreviousBuild, -1), (NextBuild, 1)):
        is_beside = and_(
            col(beside.turbine_id) == col(Build.turbine_id),
            col(beside.number) == col(Build.number) + step,
        )
        statement = statement.outerjoin(beside, is_beside)
    return statement


def _trials(asked: dict[str, Any]) -> Any:
    """Return the statement over trial ⋈ session ⋈ bench ⋈ build ⋈ turbine and their equipment."""
    return (
        select(*(expression.label(name) for name, expression in asked.items()))
        .select_from(Trial)
        .join(BenchSession, col(Trial.session_id) == col(BenchSession.id))
        .join(Bench, col(BenchSession.bench_id) == col(Bench.id))
        .join(BenchOwner, col(Bench.organisation_id) == BenchOwner.id)
        .join(Season, col(Trial.season_id) == col(Season.id))
        .join(Build, col(Trial.build_id) == col(Build.id))
        .join(Turbine, col(Build.turbine_id) == col(Turbine.id))
        .outerjoin(Team, col(Turbine.team_id) == col(Team.id))
        .outerjoin(Generator, col(Turbine.generator_id) == Generator.id)
        .outerjoin(Meter, col(BenchSession.meter_id) == Meter.id)
        .outerjoin(LoadResistor, col(Trial.load_id) == LoadResistor.id)
        .join(Anemometer, col(Bench.anemometer_id) == Anemometer.id)
        .outerjoin(newest_grid, newest_grid.c.bench_id == col(Bench.id))
        .outerjoin(WindGrid, col(WindGrid.id) == newest_grid.c.grid_id)
        .outerjoin(
            WindSweep,
            and_(
                col(WindSweep.build_id) == col(Trial.build_id),
                col(WindSweep.season_id) == col(Trial.season_id),
            ),
        )
        .outerjoin(season_sweeps, season_sweeps.c.season_id == col(Trial.season_id))
        .order_by(col(Trial.id))
    )


def _runs(names: Sequence[str], *conditions: ColumnElement[bool]) -> Any:
    """Return the statement over the runs of the same trials."""
    return (
        select(col(Run.trial_id), *(getattr(Run, name) for name in names))
        .join(Trial, col(Run.trial_id) == col(Trial.id))
        .where(*conditions)
        .order_by(col(Run.trial_id), col(Run.number))
    )


def _columns(names: list[str], rows: Any) -> dict[str, Array]:
    """Return rows as one array per column: numbers with NaN for NULL, words with '' for NULL."""
    by_column = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    return {name: _array(name, values) for name, values in zip(names, by_column, strict=True)}


def _array(name: str, values: tuple[Any, ...]) -> Array:
    if name in OBJECTS:
        made = np.empty(len(values), dtype=object)
        made[:] = values
        return made
    if name in IDENTITY or name in TEXT_COLUMNS or name in CHECK_TEXT_COLUMNS:
        return np.array([value or "" for value in values], dtype=object)
    return np.array(values, dtype=np.float64)

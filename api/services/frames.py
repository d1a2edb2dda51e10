"""The one bridge from rows to the columns that `analysis` calculates with.

Everything a calculation may want is a column here, in one statement for a page
of trials and for a whole season.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import ColumnElement, and_, func, select
from sqlalchemy.orm import aliased
from sqlmodel import Session, col

from analysis.columns import TEXT_COLUMNS
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

IDENTITY = (
    "trial_id",
    "organisation_id",
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


@dataclass(frozen=True, slots=True)
class Frame:
    """Trials as columns, in the order of their ids, and their runs."""

    trials: dict[str, Array]
    runs: dict[str, Array]

    def __len__(self) -> int:
        return len(self.trials["trial_id"])


def read_frame(db: Session, *conditions: ColumnElement[bool]) -> Frame:
    """Return the trials that meet some conditions on `Trial`, with all that results rest on."""
    trials = _columns(list(TRIAL_FRAME), db.connection().execute(_trials(*conditions)).all())
    trials["started_at"] = np.array([moment.timestamp() for moment in trials["started_at"]])
    # A resistor that was measured is known by that; otherwise its printed tolerance counts.
    trials["load_tolerance_pct"] = np.where(
        np.isnan(trials.pop("load_measured_ohm")), trials["load_tolerance_pct"], np.nan
    )
    runs = _columns(["trial_id", *RUN_FRAME], db.connection().execute(_runs(*conditions)).all())
    runs["trial"] = np.searchsorted(
        trials["trial_id"].astype(str), runs.pop("trial_id").astype(str)
    )
    return Frame(trials, runs)


def _trials(*conditions: ColumnElement[bool]) -> Any:
    """Return the statement over trial ⋈ session ⋈ bench ⋈ build ⋈ turbine and their equipment."""
    return (
        select(*(expression.label(name) for name, expression in TRIAL_FRAME.items()))
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
        .where(*conditions)
        .order_by(col(Trial.id))
    )


def _runs(*conditions: ColumnElement[bool]) -> Any:
    """Return the statement over the runs of the same trials."""
    return (
        select(col(Run.trial_id), *(getattr(Run, name) for name in RUN_FRAME))
        .join(Trial, col(Run.trial_id) == col(Trial.id))
        .where(*conditions)
        .order_by(col(Run.trial_id), col(Run.number))
    )


def _columns(names: list[str], rows: Any) -> dict[str, Array]:
    """Return rows as one array per column: numbers with NaN for NULL, words with '' for NULL."""
    by_column = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    return {name: _array(name, values) for name, values in zip(names, by_column, strict=True)}


def _array(name: str, values: tuple[Any, ...]) -> Array:
    if name == "started_at":
        return np.array(values, dtype=object)
    if name in IDENTITY or name in TEXT_COLUMNS:
        return np.array([value or "" for value in values], dtype=object)
    return np.array(values, dtype=np.float64)

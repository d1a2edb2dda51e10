"""Read the rows of tidy results by parts, so that a season of any size fits into memory."""

from collections.abc import Iterator, Sequence
from typing import Any

from sqlmodel import Session, col

from api.many_rows import parts
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.reporting.results import ResultsQuery
from api.models.trials.trials import Trial, TrialRead
from api.services.core.scope import Caller
from api.services.measurements import flags
from api.services.season.counting import left_out
from api.services.trials import stored_trials
from api.services.trials.choosing import chosen_ids, joined

AT_ONCE = 2_000  # trials in one part
Row = dict[str, Any]
NAMED: dict[str, Any] = {
    "season": Season.name,
    "organisation": Organisation.name,
    "team_id": Team.id,
    "team": Team.name,
    "turbine_id": Turbine.id,
    "turbine": Turbine.name,
    "build": Build.number,
    "bench_id": Bench.id,
    "bench": Bench.name,
    "session_started_at": BenchSession.started_at,
    "air_temperature_c": BenchSession.air_temperature_c,
    "pressure_hpa": BenchSession.pressure_hpa,
    "relative_humidity_pct": BenchSession.relative_humidity_pct,
    "zone": Season.timezone,
}
OF_TRIAL = ("client_ref", "season_id", "organisation_id", "build_id", "session_id", "kind",
            "state", "pitch_deg", "load_ohm", "load_connected", "meter_range_v",
            "created_at", "updated_at")  # fmt: skip
OF_RESULT = ("run_count", "power_w", "wind_speed_m_s", "wind_speed_source", "air_density_kg_m3",
             "air_density_source", "wind_power_w", "power_coefficient", "rotor_speed_rpm",
             "rotor_speed_source", "tip_speed_ratio", "specific_power_w_m2", "normalised_power_w",
             "normalised_power_cubic_w", "wind_exponent", "wind_exponent_source",
             "density_exponent", "u_own", "u_bench", "u_total", "normalisation")  # fmt: skip
OF_RUN = ("voltage_v", "current_a", "rotor_speed_rpm", "wind_speed_m_s", "duration_s")


def read_results(db: Session, caller: Caller, query: ResultsQuery) -> Iterator[list[Row]]:
    """Yield the rows of the trials that a key may see, by parts, oldest trials first."""
    after = ""
    while True:
        ids = list(db.scalars(_ids(db, caller, query, after)))
        if not ids:
            return
        yield _rows(db, ids, query)
        if len(ids) < AT_ONCE:
            return
        after = ids[-1]


def _ids(db: Session, caller: Caller, query: ResultsQuery, after: str) -> Any:
    ids = chosen_ids(db, caller, query).where(col(Trial.id) > after)
    return ids.order_by(col(Trial.id)).limit(AT_ONCE)


def _rows(db: Session, ids: Sequence[str], query: ResultsQuery) -> list[Row]:
    named = {
        row.id: row._asdict()
        for part in parts(list(ids))
        for row in db.execute(
            joined(Trial.id, *(value.label(name) for name, value in NAMED.items())).where(
                col(Trial.id).in_(part)
            )
        )
    }
    rows: list[Row] = []
    for trial in stored_trials.reads(db, ids):
        rows += _of(trial, named[trial.id], query)
    return rows


def _of(trial: TrialRead, names: Row, query: ResultsQuery) -> list[Row]:
    """Return the row of a trial, or those of its runs."""
    result = trial.result
    low, high = result.interval_w or (None, None)
    row = names | {name: getattr(trial, name) for name in OF_TRIAL}
    row |= {name: getattr(result, name) for name in OF_RESULT}
    row |= {
        "trial_id": trial.id,
        "left_out": left_out(trial) or None,
        "interval_low_w": low,
        "interval_high_w": high,
        "open_flags": " ".join(
            sorted({each.rule for each in trial.flags if each.state == flags.OPEN})
        )
        or None,
    }
    if query.rows == "trials":
        return [row]
    return [
        row | {"run": run.number} | {f"run_{name}": getattr(run, name) for name in OF_RUN}
        for run in trial.runs
    ]

"""Reference rotors: assign their power, and retire one that breaks."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session, col, select

from analysis.calibration import assign_power
from analysis.errors import AnalysisError
from analysis.season.summary import are_usable
from analysis.trials.results import trial_results
from api.errors import Conflict
from api.messages import say
from api.messages.reasons import say_reason
from api.models.registry.benches import Bench
from api.models.registry.builds import Assigned, Assigning, Build, BuildUpdate
from api.models.registry.equipment import Condition, Equipment
from api.models.registry.seasons import Season
from api.models.trials.trials import Trial
from api.services.core import audit, resources, revisions
from api.services.core.scope import Caller, require_owner
from api.services.measurements import rechecks
from api.services.measurements.frames import read_frame

REFERENCE, BROKEN = "reference_rotor", "broken"


def note_condition(
    db: Session, caller: Caller, item: Equipment, condition: Condition, on: date
) -> None:
    """Note the condition of a locked piece of equipment; a broken reference rotor is retired.

    A repaired rotor is a different rotor: its earlier power does not hold for it.
    """
    is_broken = item.kind == REFERENCE and condition == BROKEN
    retired = item.retired_on or (on if is_broken else None)
    changes = audit.moved(item, {"condition": condition, "retired_on": retired})
    if changes:
        item.condition, item.retired_on = condition, retired
        item.version += 1
        db.flush()
        audit.note(db, caller, "changed", item, changes)


def assign(db: Session, caller: Caller, build_id: str, assigning: Assigning) -> Assigned:
    """Assign a reference rotor its power at one bench; this value is final."""
    row = resources.get_row(db, caller, Build, build_id)
    require_owner(caller, row.organisation_id)
    bench = resources.get_row(db, caller, Bench, assigning.bench_id, "bench_id")
    revisions.raise_all(db)
    if row.organisation_id is not None:
        raise Conflict(say("refused.no_reference_rotor"))
    require_unassigned(row)
    season = _season(db, caller, row, bench, assigning.season_id)
    frame = read_frame(
        db, col(Trial.build_id) == row.id, rechecks.at_bench(bench.id),
        col(Trial.season_id) == season.id,
    )  # fmt: skip
    results = trial_results(frame.trials, frame.runs)
    usable = np.flatnonzero(are_usable(frame.trials, results))
    zone = ZoneInfo(season.timezone)
    days = np.array(
        [datetime.fromtimestamp(each, zone).toordinal() for each in frame.trials["started_at"]]
    )
    try:
        assigned = assign_power(
            results.normalised_power_w[usable], results.run_count[usable], days[usable]
        )
    except AnalysisError as error:
        raise Conflict(say_reason(str(error))) from error
    changes = BuildUpdate.model_validate({"assigned_power_w": assigned.power_w})
    resources.change(db, caller, row, changes, row.version)
    return Assigned(
        build_id=row.id,
        version=row.version,
        assigned_power_w=assigned.power_w,
        u=assigned.u,
        runs=assigned.runs,
        days=assigned.days,
        assigned_at=datetime.now(UTC).replace(microsecond=0),
    )


def _season(
    db: Session, caller: Caller, build: Build, bench: Bench, season_id: str | None
) -> Season:
    """Return the season of the reference wind; powers of two seasons are not averaged."""
    if season_id is not None:
        return resources.get_row(db, caller, Season, season_id, "season_id")
    ran_in = select(Trial.season_id).where(
        col(Trial.build_id) == build.id, rechecks.at_bench(bench.id)
    )
    season_ids = list(db.scalars(ran_in.distinct()))
    if len(season_ids) != 1:
        raise Conflict(say("refused.several_seasons", count=len(season_ids)))
    return db.get_one(Season, season_ids[0])


def require_unassigned(build: Build) -> None:
    """Refuse to change an assigned power: every comparison of the season depends on it."""
    if build.assigned_power_w is not None:
        raise Conflict(say("refused.is_assigned"))

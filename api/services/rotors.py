"""Reference rotors: what they are assigned, and when one is no longer itself."""

from datetime import UTC, date, datetime

import numpy as np
from sqlmodel import Session, col

from analysis.errors import AnalysisError
from analysis.instruments import assign_power
from analysis.season import are_usable
from analysis.trial_result import trial_results
from api.errors import Conflict
from api.models.benches import Bench
from api.models.builds import Assigned, Assigning, Build, BuildUpdate
from api.models.equipment import Condition, Equipment
from api.models.trials import Trial
from api.services import audit, flags, resources, revisions
from api.services.frames import SECONDS_A_DAY, read_frame
from api.services.scope import Caller, require_owner

REFERENCE, BROKEN = "reference_rotor", "broken"


def note_condition(
    db: Session, caller: Caller, item: Equipment, condition: Condition, on: date
) -> None:
    """Note in what condition a locked piece of equipment is; a broken reference rotor is retired.

    Repaired it would be another rotor: what it gave before tells nothing of what it gives now.
    """
    retired = on if item.kind == REFERENCE and condition == BROKEN else item.retired_on
    told = audit.moved(item, {"condition": condition, "retired_on": retired})
    if told:
        item.condition, item.retired_on = condition, retired
        item.version += 1
        db.flush()
        audit.note(db, caller, "changed", item, told)


def assign(db: Session, caller: Caller, build_id: str, assigning: Assigning) -> Assigned:
    """Assign a reference rotor the power it has at one bench; it is frozen from then on."""
    row = resources.get_row(db, caller, Build, build_id)
    require_owner(caller, row.organisation_id)
    bench = resources.get_row(db, caller, Bench, assigning.bench_id, "bench_id")
    revisions.raise_all(db)
    if row.organisation_id is not None:
        raise Conflict("only a reference rotor is assigned a power")
    require_unassigned(row)
    ran = read_frame(db, col(Trial.build_id) == row.id, flags.at_bench(bench.id))
    results = trial_results(ran.trials, ran.runs)
    usable = np.flatnonzero(are_usable(ran.trials, results))
    days = np.asarray(ran.trials["started_at"], dtype=float) // SECONDS_A_DAY
    try:
        found = assign_power(
            results.normalised_power_w[usable], results.run_count[usable], days[usable]
        )
    except AnalysisError as error:
        raise Conflict(str(error)) from error
    changes = BuildUpdate.model_validate({"assigned_power_w": found.power_w})
    resources.change(db, caller, row, changes, row.version)
    return Assigned(
        build_id=row.id,
        version=row.version,
        assigned_power_w=found.power_w,
        u=found.u,
        runs=found.runs,
        days=found.days,
        assigned_at=datetime.now(UTC).replace(microsecond=0),
    )


def require_unassigned(build: Build) -> None:
    """Refuse to move a power that was assigned: all the season hangs on it."""
    if build.assigned_power_w is not None:
        raise Conflict(
            "this rotor's power is assigned and stays: another power is another rotor, with a "
            "bridging run of both"
        )

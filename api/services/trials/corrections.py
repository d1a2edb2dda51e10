"""Correct or withdraw a trial; the old values stay in its change history."""

from datetime import UTC, datetime
from typing import Any

from pydantic import ValidationError
from sqlmodel import Session, col, delete, insert, select, update

from api.errors import Conflict, FieldError, Invalid
from api.messages import say
from api.models.core.ids import new_id
from api.models.core.shapes import AsTyped
from api.models.core.validation import invalid
from api.models.measurements.flags import Flag
from api.models.trials.trials import (
    Confirmation,
    Correction,
    Reinstatement,
    Run,
    RunCreate,
    Trial,
    TrialChanges,
    TrialCreate,
    TrialRead,
    Withdrawal,
)
from api.services.core import audit, resources, revisions
from api.services.core.scope import Caller, require_lead_where_official, require_owner
from api.services.measurements import flags, rechecks
from api.services.trials import rows as trial_rows
from api.services.trials import stored_trials, trials
from api.services.trials.targets import Targets, require_sound


def correct(db: Session, caller: Caller, trial_id: str, correction: Correction) -> TrialRead:
    """Correct facts of a trial; it is computed and checked again."""
    row = open_row(db, caller, trial_id)
    apply(db, caller, row, correction.changes, correction.reason)
    return stored_trials.get(db, caller, row.id)


def open_row(db: Session, caller: Caller, trial_id: str) -> Trial:
    """Return a trial that the caller may change and that is not withdrawn, its season locked."""
    row = _locked_row(db, caller, trial_id)
    if row.state == flags.WITHDRAWN:
        raise Conflict(say("refused.withdrawn"))
    return row


def _locked_row(db: Session, caller: Caller, trial_id: str) -> Trial:
    """Return a trial that the caller may change, its season locked."""
    row = resources.get_row(db, caller, Trial, trial_id)
    require_owner(caller, row.organisation_id)
    require_lead_where_official(db, caller, col(Trial.id) == row.id, "refused.official_trial")
    revisions.raise_season(db, row.season_id, only_trials=True)
    resources.lock(db, row)
    return row


def apply(db: Session, caller: Caller, row: Trial, changes: TrialChanges, reason: str) -> None:
    """Write changes of a locked trial, and note the old values in the audit log."""
    runs = trials.runs_of(db, [row.id])[row.id]
    before = trials.stored_facts(row, runs)
    wanted = _corrected(before, changes, row)
    pointed_at = {row.session_id, str(row.load_id)}
    is_moved = wanted.session_id != row.session_id
    target = Targets(db, caller, [wanted], pointed_at).of(wanted, is_stored=not is_moved)
    if target.session.season_id != row.season_id:
        words = say("refused.stays_in_season")
        raise Invalid(words, [FieldError("other_season", words, pointer="/changes/session_id")])
    if target.owner != row.organisation_id:
        words = say("refused.stays_with_school")
        raise Invalid(words, [FieldError("other_school", words, pointer="/changes/build_id")])
    require_sound(wanted, target)
    after = trial_rows.facts_of(wanted) | {"note": wanted.note}
    moved = {
        name: [value, after[name]]
        for name, value in (before | {"note": row.note}).items()
        if after[name] != value
    }
    if not moved:
        raise Invalid(say("refused.nothing_changes"))
    affected_before = rechecks.affected_by(db, col(Trial.id) == row.id)
    _write(db, row, wanted, changes, moved)
    if "runs" in moved:
        _write_runs(db, row, runs, wanted)
    if moved.keys() - {"note"}:
        _forget_confirmation(db, row)
    audit.note(db, caller, "corrected", row, moved, reason)
    rechecks.recompute(db, affected_before, rechecks.affected_by(db, col(Trial.id) == row.id))


def _forget_confirmation(db: Session, row: Trial) -> None:
    """Clear what somebody confirmed of a trial's earlier values."""
    confirmed = (
        col(Flag.trial_id) == row.id,
        col(Flag.rule) == flags.UNLIKE_SEASON,
        col(Flag.state) == flags.CONFIRMED,
    )
    db.execute(update(Flag).where(*confirmed).values(state=flags.CLEARED))


def _corrected(before: dict[str, Any], changes: TrialChanges, row: Trial) -> TrialCreate:
    """Return the corrected trial, with every limit checked again."""
    asked = changes.model_dump(exclude_unset=True)
    facts = before | {"note": row.note} | asked
    if asked.get("runs") is None:
        facts["runs"] = before["runs"]
    try:
        return TrialCreate.model_validate(facts)
    except ValidationError as error:
        raise invalid(error, {"changes": facts}, prefix=("changes",)) from error


def _write(
    db: Session,
    row: Trial,
    wanted: TrialCreate,
    changes: TrialChanges,
    moved: dict[str, list[Any]],
) -> None:
    for name in moved.keys() - {"runs"}:
        setattr(row, name, getattr(wanted, name))
    unchanged = {name: typed for name, typed in row.as_typed.items() if name not in moved}
    row.as_typed = unchanged | changes.typed()
    row.version += 1
    db.flush()


def _write_runs(db: Session, row: Trial, before: list[Run], wanted: TrialCreate) -> None:
    """Replace the runs; unchanged readings keep the unit in which they were typed."""
    old = {run.number: run for run in before}
    rows = []
    for number, run in enumerate(wanted.runs, start=1):
        new = trial_rows.run_row(row.id, number, run)
        unchanged = _unchanged_typed(old[number], run) if number in old else {}
        rows.append(new | {"as_typed": unchanged | new["as_typed"]})
    db.execute(delete(Run).where(col(Run.trial_id) == row.id))
    db.execute(insert(Run), rows)


def _unchanged_typed(before: Run, now: RunCreate) -> AsTyped:
    return {
        name: typed
        for name, typed in before.as_typed.items()
        if getattr(before, name) == getattr(now, name)
    }


def withdraw(db: Session, caller: Caller, trial_id: str, withdrawal: Withdrawal) -> TrialRead:
    """Withdraw a trial from all results; it stays readable."""
    row = open_row(db, caller, trial_id)
    withdraw_row(db, caller, row, withdrawal.reason)
    return stored_trials.get(db, caller, row.id)


def withdraw_row(db: Session, caller: Caller, row: Trial, reason: str) -> None:
    """Withdraw a locked trial."""
    before = row.state
    row.state = flags.WITHDRAWN
    row.version += 1
    db.flush()
    audit.note(db, caller, "withdrawn", row, {"state": [before, row.state]}, reason)
    rechecks.recheck(db, col(Trial.id) == row.id)


def confirm(db: Session, caller: Caller, trial_id: str, given: Confirmation) -> TrialRead:
    """Let a trial count in the season's fit that no other trial expects."""
    row = open_row(db, caller, trial_id)
    asked = select(Flag).where(col(Flag.trial_id) == row.id, col(Flag.rule) == flags.UNLIKE_SEASON)
    flag = db.scalars(asked).one_or_none() or Flag(
        id=new_id(Flag.prefix),
        trial_id=row.id,
        season_id=row.season_id,
        organisation_id=row.organisation_id,
        rule=flags.UNLIKE_SEASON,
        severity="warn",
        facts={"values": {}},
        version=0,
    )
    before = flag.state if flag.version else None
    flag.state, flag.reason = flags.CONFIRMED, given.reason
    flag.answered_by, flag.answered_at = caller.label, datetime.now(UTC).replace(microsecond=0)
    flag.version = (flag.version or 0) + 1
    # Its own facts changed: until others are published with it, nobody else's figures follow.
    row.version += 1
    db.add(flag)
    db.flush()
    changes = {"rule": [flag.rule, flag.rule], "state": [before, flag.state]}
    audit.note(db, caller, "answered", flag, changes, given.reason)
    rechecks.note_moved(db, col(Trial.id) == row.id)
    return stored_trials.get(db, caller, row.id)


def reinstate(db: Session, caller: Caller, trial_id: str, given: Reinstatement) -> TrialRead:
    """Let a withdrawn trial count again; it is computed and checked again."""
    row = _locked_row(db, caller, trial_id)
    if row.state != flags.WITHDRAWN:
        raise Conflict(say("refused.not_withdrawn"))
    row.state = flags.ACCEPTED
    row.version += 1
    db.flush()
    audit.note(db, caller, "reinstated", row, {"state": [flags.WITHDRAWN, row.state]}, given.reason)
    rechecks.recheck(db, col(Trial.id) == row.id)
    return stored_trials.get(db, caller, row.id)

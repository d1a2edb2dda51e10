"""Undo a complete import, unless later work depends on it."""

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlmodel import Session, col, delete, or_, select

from api.errors import Conflict, FieldError
from api.messages import say
from api.models.core.audit import AuditEntry
from api.models.imports.imports import ImportBatch, ImportRead, Undoing
from api.models.measurements.flags import Flag
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Run, Trial
from api.services.core import audit, resources, revisions
from api.services.core.scope import Caller, require_owner
from api.services.measurements import rechecks

MOST_NAMED = 20


def undo(db: Session, caller: Caller, import_id: str, undoing: Undoing) -> ImportRead:
    """Delete all trials of an import, and the sessions that were opened only for it."""
    row = resources.get_row(db, caller, ImportBatch, import_id)
    trials = list(db.scalars(select(Trial).where(col(Trial.import_id) == row.id)))
    revisions.raise_season(db, *{trial.season_id for trial in trials})
    resources.lock(db, row)
    if row.undone_at is not None:
        raise Conflict(say("import_undo.done_already"))
    unshared = _unshared_sessions(db, row)
    owners = {trial.organisation_id for trial in trials}
    for owner in owners | {session.organisation_id for session in unshared}:
        require_owner(caller, owner)
    _require_untouched(db, {trial.id for trial in trials}, {session.id for session in unshared})
    affected = rechecks.affected_by(db, col(Trial.import_id) == row.id)
    _delete(db, caller, row, unshared)
    row.undone_at = datetime.now(UTC).replace(microsecond=0)
    row.version += 1
    db.flush()
    audit.note(db, caller, "undone", row, {"trials": [len(trials), 0]}, undoing.reason)
    rechecks.recompute(db, affected)
    return resources.read(ImportRead, row)


def _unshared_sessions(db: Session, row: ImportBatch) -> list[BenchSession]:
    """Return the sessions that were opened for an import and that nothing else uses."""
    by_others = select(Trial.session_id).where(
        col(Trial.session_id).in_(row.session_ids),
        or_(col(Trial.import_id).is_(None), col(Trial.import_id) != row.id),
    )
    opened = select(BenchSession).where(
        col(BenchSession.id).in_(row.session_ids),
        col(BenchSession.id).not_in(by_others),
        col(BenchSession.version) == 1,
    )
    return list(db.scalars(opened))


def _require_untouched(db: Session, trial_ids: set[str], session_ids: set[str]) -> None:
    """Refuse the undo if trials or flags of the import were changed or answered since."""
    worked_on = select(AuditEntry.thing_id).where(
        col(AuditEntry.thing_id).in_(trial_ids), col(AuditEntry.thing) == "trial"
    )
    answered = (
        select(Flag.trial_id, Flag.session_id)
        .join(AuditEntry, col(AuditEntry.thing_id) == col(Flag.id))
        .where(
            col(AuditEntry.action) == "answered",
            or_(col(Flag.trial_id).in_(trial_ids), col(Flag.session_id).in_(session_ids)),
        )
    )
    later = set(db.scalars(worked_on)) | {trial or of for trial, of in db.execute(answered)}
    if later:
        faults = [
            FieldError("later_work", say("import_undo.worked_on", thing=each))
            for each in sorted(later)[:MOST_NAMED]
        ]
        raise Conflict(say("import_undo.later_work", count=len(later)), faults)


def _delete(
    db: Session, caller: Caller, row: ImportBatch, sessions: Sequence[BenchSession]
) -> None:
    """Delete trials with their runs and flags, and the sessions that nothing else uses."""
    trial_ids = select(Trial.id).where(col(Trial.import_id) == row.id)
    db.execute(delete(Flag).where(col(Flag.trial_id).in_(trial_ids)))
    db.execute(delete(Run).where(col(Run.trial_id).in_(trial_ids)))
    db.execute(delete(Trial).where(col(Trial.import_id) == row.id))
    ids = [session.id for session in sessions]
    db.execute(delete(Flag).where(col(Flag.session_id).in_(ids)))
    for session in sessions:
        audit.note(db, caller, "removed", session, reason=say("import_reason.undone"))
    db.execute(delete(BenchSession).where(col(BenchSession.id).in_(ids)))

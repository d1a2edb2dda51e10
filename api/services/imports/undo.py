"""Taking a whole import back: as if it had never been, unless later work stands on it."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import UTC, datetime

from sqlmodel import Session, col, delete, select

from api.errors import Conflict, FieldError
from api.models.audit import AuditEntry
from api.models.flags import Flag
from api.models.imports import ImportBatch, ImportRead, Undoing
from api.models.sessions import BenchSession
from api.models.trials import Run, Trial
from api.services import audit, flags, resources, revisions, sweeps
from api.services.scope import Caller

MOST_NAMED = 20


def undo(db: Session, caller: Caller, import_id: str, undoing: Undoing) -> ImportRead:
    """Take back all that an import stored, and the sessions that were opened for it alone."""
    row = resources.get_row(db, caller, ImportBatch, import_id)
    if row.undone_at is not None:
        raise Conflict("this import was taken back already")
    trials = list(db.scalars(select(Trial).where(col(Trial.import_id) == row.id)))
    revisions.raise_season(db, *{trial.season_id for trial in trials})
    _require_untouched(db, [trial.id for trial in trials])
    touched = _touched(db, trials)
    _take_out(db, caller, row)
    row.undone_at = datetime.now(UTC).replace(microsecond=0)
    row.version += 1
    db.flush()
    audit.note(db, caller, "undone", row, {"trials": [len(trials), 0]}, undoing.reason)
    for season_id, (benches, builds) in touched.items():
        sweeps.refit_builds(db, season_id, sorted(builds))
        flags.recheck_benches(db, season_id, sorted(benches))
    return resources.read(ImportRead, row)


def _require_untouched(db: Session, trial_ids: list[str]) -> None:
    """Refuse where somebody corrected, withdrew or answered for one of the trials since."""
    told = select(AuditEntry.thing_id).where(
        col(AuditEntry.thing_id).in_(trial_ids), col(AuditEntry.thing) == "trial"
    )
    answered = select(Flag.trial_id).where(
        col(Flag.trial_id).in_(trial_ids), col(Flag.answered_at).is_not(None)
    )
    later = sorted({str(each) for each in [*db.scalars(told), *db.scalars(answered)]})
    if later:
        words = (
            f"{len(later)} of its trials were corrected, withdrawn or answered for since; withdraw "
            "single trials instead"
        )
        named = [FieldError("later_work", f"{each} was worked on since") for each in later]
        raise Conflict(words, named[:MOST_NAMED])


def _touched(db: Session, trials: Sequence[Trial]) -> dict[str, tuple[set[str], set[str]]]:
    """Return, for each season, the benches and builds that the trials were about."""
    benches = dict(
        db.execute(
            select(BenchSession.id, BenchSession.bench_id).where(
                col(BenchSession.id).in_({trial.session_id for trial in trials})
            )
        ).all()
    )
    touched: dict[str, tuple[set[str], set[str]]] = defaultdict(lambda: (set(), set()))
    for trial in trials:
        touched[trial.season_id][0].add(benches[trial.session_id])
        touched[trial.season_id][1].add(trial.build_id)
    return touched


def _take_out(db: Session, caller: Caller, row: ImportBatch) -> None:
    """Delete trials with their runs and flags, and sessions that nothing else stands on."""
    mine = select(Trial.id).where(col(Trial.import_id) == row.id)
    db.execute(delete(Flag).where(col(Flag.trial_id).in_(mine)))
    db.execute(delete(Run).where(col(Run.trial_id).in_(mine)))
    db.execute(delete(Trial).where(col(Trial.import_id) == row.id))
    used = select(Trial.session_id).where(col(Trial.session_id).in_(row.session_ids))
    alone = list(
        db.scalars(
            select(BenchSession).where(
                col(BenchSession.id).in_(row.session_ids),
                col(BenchSession.id).not_in(used),
                col(BenchSession.version) == 1,
            )
        )
    )
    ids = [session.id for session in alone]
    db.execute(delete(Flag).where(col(Flag.session_id).in_(ids)))
    for session in alone:
        audit.note(db, caller, "removed", session, reason="its import was taken back")
    db.execute(delete(BenchSession).where(col(BenchSession.id).in_(ids)))

"""Carry out an import: in the same way for a file, pasted cells, JSON and a dry run.

One transaction resolves names, opens sessions, submits and reports. A dry run is rolled back.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from sqlmodel import Session, col, delete, insert, select

from api.errors import ApiError, FieldError, Invalid
from api.many_rows import parts
from api.messages import say
from api.models.core.ids import new_id
from api.models.imports.imports import (
    ImportBatch,
    ImportOrganisation,
    ImportQuery,
    ImportRead,
    ImportTried,
)
from api.models.measurements.flags import FlagRead
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Trial
from api.services.core import audit, resources, revisions
from api.services.core.scope import Caller
from api.services.imports import refused
from api.services.imports.imported_trial import ImportedTrial
from api.services.imports.names import Directory
from api.services.imports.opening import Opening
from api.services.imports.preparing import Prepared
from api.services.imports.shaping import located, read_values
from api.services.measurements import flags
from api.services.trials import trials
from api.services.webhooks import outbox


def accept_hint() -> str:
    """Return the hint for a row that a data check questions."""
    return say("import_doubt.accept")


def carry_out(
    db: Session, caller: Caller, work: Prepared, query: ImportQuery
) -> ImportRead | ImportTried:
    """Resolve, submit and report; a dry run does all of it and is then rolled back."""
    # Work on copies: the prepared import may be carried out again.
    work = replace(work, trials=[replace(trial) for trial in work.trials], opened=[])
    tried = db.begin_nested()
    stored = _placeholder(db, caller, work, query)
    if work.sheet is not None:
        _resolve(db, caller, work, query)
    _submit(db, caller, work, stored.id)
    _read_flags(db, work)
    if query.warnings == "refuse" and not query.dry_run:
        _require_unquestioned(work)
    _drop_unused(db, caller, work)
    facts = _facts(work, query)
    if query.dry_run:
        tried.rollback()
        return ImportTried.model_validate(facts | {"dry_run": True})
    if work.faults and (query.mode == "all" or work.has_unclear_titles):
        wrong = len({fault.row for fault in work.faults})
        raise Invalid(say("import_refused.wrong_rows", count=wrong), work.faults)
    outbox.note_import(db, stored.id, _note_owners(db, work, stored.id))
    for name, value in (facts | _stored_only(work, facts["rows"])).items():
        setattr(stored, name, value)
    db.flush()
    audit.note(db, caller, "imported", stored, {"trials": [None, facts["trials"]]})
    tried.commit()
    return resources.read(ImportRead, stored)


def _placeholder(db: Session, caller: Caller, work: Prepared, query: ImportQuery) -> ImportBatch:
    """Store the import first, since its trials refer to it."""
    row = ImportBatch(
        id=new_id(ImportBatch.prefix),
        key_id=caller.key_id,
        digest=work.digest,
        format=work.format,
        mode=query.mode,
        understood={},
        outcomes={},
        trials={},
        sessions_created=0,
        rows=[],
    )
    db.add(row)
    db.flush()
    return row


def _note_owners(db: Session, work: Prepared, import_id: str) -> set[str]:
    """Store and return the schools of an import: only a key that reaches all of them sees it."""
    owners = {session.organisation_id for session in work.opened}
    of_import = col(Trial.import_id) == import_id
    stored_before = sorted(
        trial.trial_id for trial in work.trials if trial.trial_id and not trial.is_new
    )
    for condition in (of_import, *(col(Trial.id).in_(part) for part in parts(stored_before))):
        owners |= set(db.scalars(select(Trial.organisation_id).where(condition).distinct()))
    rows = [{"import_id": import_id, "organisation_id": each} for each in sorted(owners)]
    if rows:
        db.execute(insert(ImportOrganisation), rows)
    return owners


def _resolve(db: Session, caller: Caller, work: Prepared, query: ImportQuery) -> None:
    """Look up the session and build of each trial of a file, and note its faults."""
    directory = Directory(db, caller, query.season_id)
    opening = Opening(db, caller)
    for trial in work.trials:
        read_values(trial, directory)
        opening.note_conditions(trial)
    # Of two imports with the same new session, the second waits and uses the first one's.
    revisions.lock(db, *{trial.session["season_id"] for trial in work.trials if trial.session})
    for trial in work.trials:
        _set_targets(trial, opening)
    work.opened = opening.opened


def _set_targets(trial: ImportedTrial, opening: Opening) -> None:
    """Set the session and build of a trial without faults."""
    if trial.faults or trial.place is None or trial.values is None:
        return
    session = opening.find_or_open(trial)
    if session is not None:
        trial.values.session_id, trial.values.build_id = session.id, trial.place.build.id


def _submit(db: Session, caller: Caller, work: Prepared, import_id: str) -> None:
    """Submit the trials without faults together, and note the outcome of each."""
    sound = [trial for trial in work.trials if trial.values is not None and not trial.faults]
    values = [trial.values for trial in sound if trial.values is not None]
    outcomes = trials.submit(db, caller, values, import_id)
    for trial, submitted, outcome in zip(sound, values, outcomes, strict=True):
        trial.trial_id, trial.is_new = outcome.trial_id, outcome.created
        # Drop the stored values: for a large file they fill most of the memory.
        trial.session_id, trial.values = submitted.session_id, None
        if outcome.refusal is not None:
            trial.faults = _placed(outcome.refusal, trial)


def _read_flags(db: Session, work: Prepared) -> None:
    """Read the flags of the trials."""
    by_trial = flags.of_trials(
        db,
        {trial.trial_id: trial.session_id for trial in work.trials if trial.trial_id},
    )
    shown_ids: set[str] = set()
    for trial in work.trials:
        flags_here = by_trial.get(trial.trial_id or "", [])
        trial.open_flags = [
            flag for flag in flags_here if flag.state == flags.OPEN and flag.severity != "info"
        ]
        # A flag of a session is shown once, with its first trial.
        trial.flags = [flag for flag in flags_here if flag.trial_id or flag.id not in shown_ids]
        shown_ids |= {flag.id for flag in flags_here}


def _require_unquestioned(work: Prepared) -> None:
    """Refuse an import that a data check questions, unless the caller accepted the warnings."""
    first: dict[str, tuple[ImportedTrial, FlagRead]] = {}
    for trial in work.trials:
        if trial.is_new:
            for flag in trial.open_flags:
                first.setdefault(flag.id, (trial, flag))
    questions = [
        FieldError(flag.rule, flag.message, accept_hint(), row=trial.row_numbers[0])
        for trial, flag in first.values()
    ]
    if questions:
        rows = len({each.row for each in questions})
        raise Invalid(say("import_doubt.refused", count=rows), [*work.faults, *questions])


def _placed(refusal: ApiError, trial: ImportedTrial) -> list[FieldError]:
    """Return the faults of a refusal with their places in the batch or in cells of the file."""
    faults = refusal.errors or [FieldError(refusal.slug, str(refusal))]
    if trial.rows:
        return located(faults, trial.rows)
    at = trial.row_numbers[0]
    return [
        replace(fault, row=at, pointer=f"/trials/{at - 1}{fault.pointer or ''}") for fault in faults
    ]


def _drop_unused(db: Session, caller: Caller, work: Prepared) -> None:
    """Remove sessions that were opened only for refused trials."""
    used = {trial.session_id for trial in work.trials if not trial.faults}
    unused = [row for row in work.opened if row.id not in used]
    for row in unused:
        audit.note(db, caller, "removed", row, reason=say("import_reason.session_unused"))
    if unused:
        ids = [row.id for row in unused]
        db.execute(delete(BenchSession).where(col(BenchSession.id).in_(ids)))
    work.opened = [row for row in work.opened if row.id in used]


def _facts(work: Prepared, query: ImportQuery) -> dict[str, Any]:
    """Return the facts of the answer to an import, which are also stored."""
    rows = [_row(number, trial) for trial in work.trials for number in trial.row_numbers]
    rows += [_loose_row(fault) for fault in work.loose_faults]
    rows.sort(key=lambda row: row["row"])
    return {
        "format": work.format,
        "mode": query.mode,
        "understood": work.understood,
        "outcomes": _counted(row["outcome"] for row in rows),
        "trials": _counted(trial.outcome for trial in work.trials),
        "sessions_created": len(work.opened),
        "rows": rows,
    }


def _stored_only(work: Prepared, rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Return the columns that an undo and a correction need, and that the answer does not have."""
    wrong = {row["row"]: row["errors"] for row in rows if row["outcome"] == "error"}
    return {
        "session_ids": [row.id for row in work.opened],
        "refused": work.sheet and refused.refused_sheet(work.sheet, wrong),
    }


def _row(number: int, trial: ImportedTrial) -> dict[str, Any]:
    return {
        "row": number,
        "client_ref": trial.client_ref,
        "outcome": trial.outcome,
        "id": None if trial.faults else trial.trial_id,
        "state": trial.state,
        "flags": [flag.message for flag in trial.flags],
        "errors": [fault.shown() for fault in trial.faults if fault.row == number],
    }


def _loose_row(fault: FieldError) -> dict[str, Any]:
    """Return a row that could not be cut into cells."""
    return {
        "row": fault.row or 0,
        "client_ref": None,
        "outcome": "error",
        "id": None,
        "state": None,
        "flags": [],
        "errors": [fault.shown()],
    }


def _counted(outcomes: Iterable[str]) -> dict[str, int]:
    counts = Counter(outcomes)
    return {outcome: counts[outcome] for outcome in ("created", "unchanged", "error")}

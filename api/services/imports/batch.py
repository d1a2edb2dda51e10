"""Carrying an import out: the same way for a file, pasted cells, JSON and a dry run.

One transaction resolves names, opens sessions, submits and reports. A dry run is rolled back.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from sqlmodel import Session, col, delete, insert, select

from api.bulk import parts
from api.errors import ApiError, FieldError, Invalid
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
from api.services.imports.drafts import Draft, located, shape
from api.services.imports.headers import Header
from api.services.imports.names import Directory
from api.services.imports.opening import Opening
from api.services.imports.preparing import Entry, Prepared
from api.services.measurements import flags
from api.services.trials import trials


def accept_hint() -> str:
    """Return what would do where a data check questions a row."""
    return say("import_doubt.accept")


def carry_out(
    db: Session, caller: Caller, work: Prepared, query: ImportQuery
) -> ImportRead | ImportTried:
    """Resolve, submit and tell; a dry run does all of it and then takes it back."""
    # What was prepared stays as it is, and may be carried out once more.
    work = replace(work, entries=[replace(entry) for entry in work.entries], opened=[])
    revisions.lock_all(db)  # two imports of one new session: the second finds the first's
    tried = db.begin_nested()
    stored = _placeholder(db, caller, work, query)
    if work.header is not None:
        _resolve(db, caller, work, work.header, query)
    _submit(db, caller, work, stored.id)
    _read_flags(db, work)
    if query.warnings == "refuse" and not query.dry_run:
        _require_unquestioned(work)
    _drop_unused(db, caller, work)
    facts = _facts(work, query)
    if query.dry_run:
        tried.rollback()
        return ImportTried.model_validate(facts | {"dry_run": True})
    if work.faults and query.mode == "all":
        wrong = len({fault.row for fault in work.faults})
        raise Invalid(say("import_refused.wrong_rows", count=wrong), work.faults)
    _tell_whose(db, work, stored.id)
    for name, value in (facts | _kept(work, facts["rows"])).items():
        setattr(stored, name, value)
    db.flush()
    audit.note(db, caller, "imported", stored, {"trials": [None, facts["trials"]]})
    tried.commit()
    return resources.read(ImportRead, stored)


def _placeholder(db: Session, caller: Caller, work: Prepared, query: ImportQuery) -> ImportBatch:
    """Store the import first, since its trials point at it."""
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


def _tell_whose(db: Session, work: Prepared, import_id: str) -> None:
    """Note whose trials and sessions an import is about: who loses them loses sight of it."""
    owners = {session.organisation_id for session in work.opened}
    mine = col(Trial.import_id) == import_id
    stored_before = sorted(
        entry.trial_id for entry in work.entries if entry.trial_id and not entry.created
    )
    for some in (mine, *(col(Trial.id).in_(part) for part in parts(stored_before))):
        owners |= set(db.scalars(select(Trial.organisation_id).where(some).distinct()))
    rows = [{"import_id": import_id, "organisation_id": each} for each in sorted(owners)]
    if rows:
        db.execute(insert(ImportOrganisation), rows)


def _resolve(
    db: Session, caller: Caller, work: Prepared, header: Header, query: ImportQuery
) -> None:
    """Make entries of a file's drafts, each pointing at its session and build."""
    directory = Directory(db, caller, query.season_id)
    opening = Opening(db, caller, header)
    for draft in work.drafts:
        shape(draft, directory, header)
        opening.hear(draft)
    work.entries = [_entry(draft, opening) for draft in work.drafts]
    work.opened = opening.opened


def _entry(draft: Draft, opening: Opening) -> Entry:
    """Return a draft as a trial that points at its session and build, or with its faults."""
    entry = Entry([row.number for row in draft.rows], draft.client_ref, sheet_rows=draft.rows)
    if not draft.faults and draft.place is not None and draft.sound is not None:
        session = opening.find_or_open(draft)
        if session is not None:
            entry.trial, draft.sound = draft.sound, None
            entry.trial.session_id, entry.trial.build_id = session.id, draft.place.build.id
    entry.faults = draft.faults
    return entry


def _submit(db: Session, caller: Caller, work: Prepared, import_id: str) -> None:
    """Submit the sound trials together and note what became of each."""
    sound = [entry for entry in work.entries if entry.trial is not None and not entry.faults]
    shapes = [entry.trial for entry in sound if entry.trial is not None]
    outcomes = trials.submit(db, caller, shapes, import_id)
    for entry, trial, outcome in zip(sound, shapes, outcomes, strict=True):
        entry.trial_id, entry.created = outcome.trial_id, outcome.created
        # Stored by now, and of a large file most of what is in memory.
        entry.session_id, entry.trial = trial.session_id, None
        if outcome.refusal is not None:
            entry.faults = _placed(outcome.refusal, entry, work.header)


def _read_flags(db: Session, work: Prepared) -> None:
    """Learn what the data checks say of the trials."""
    by_trial = flags.of_trials(
        db,
        {entry.trial_id: entry.session_id for entry in work.entries if entry.trial_id},
    )
    shown_ids: set[str] = set()
    for entry in work.entries:
        mine = by_trial.get(entry.trial_id or "", [])
        entry.odd_flags = [
            flag for flag in mine if flag.state == flags.OPEN and flag.severity != "info"
        ]
        entry.holds = any(flag.severity == "hold" for flag in entry.odd_flags)
        # What concerns a whole session is said once for it.
        entry.flags = [flag for flag in mine if flag.trial_id or flag.id not in shown_ids]
        shown_ids |= {flag.id for flag in mine}


def _require_unquestioned(work: Prepared) -> None:
    """Refuse an import that a data check questions, for a caller who has not accepted it yet."""
    first: dict[str, tuple[Entry, FlagRead]] = {}
    for entry in work.entries:
        if entry.created:
            for flag in entry.odd_flags:
                first.setdefault(flag.id, (entry, flag))
    oddities = [
        FieldError(flag.rule, flag.message, accept_hint(), row=entry.rows[0])
        for entry, flag in first.values()
    ]
    if oddities:
        rows = len({each.row for each in oddities})
        raise Invalid(say("import_doubt.refused", count=rows), [*work.faults, *oddities])


def _placed(refusal: ApiError, entry: Entry, header: Header | None) -> list[FieldError]:
    """Return a refusal's faults at the entry's place in the batch, or at cells of a file."""
    faults = refusal.errors or [FieldError(refusal.slug, str(refusal))]
    if header is not None:
        return located(faults, entry.sheet_rows, header)
    at = entry.rows[0]
    return [
        replace(fault, row=at, pointer=f"/trials/{at - 1}{fault.pointer or ''}") for fault in faults
    ]


def _drop_unused(db: Session, caller: Caller, work: Prepared) -> None:
    """Remove sessions that were opened for trials which were then refused."""
    used = {entry.session_id for entry in work.entries if not entry.faults}
    unused = [row for row in work.opened if row.id not in used]
    for row in unused:
        audit.note(db, caller, "removed", row, reason=say("import_reason.session_unused"))
    if unused:
        ids = [row.id for row in unused]
        db.execute(delete(BenchSession).where(col(BenchSession.id).in_(ids)))
    work.opened = [row for row in work.opened if row.id in used]


def _facts(work: Prepared, query: ImportQuery) -> dict[str, Any]:
    """Return the answer to an import, as it is also stored."""
    rows = [_row(number, entry) for entry in work.entries for number in entry.rows]
    rows += [_loose_row(fault) for fault in work.loose_faults]
    rows.sort(key=lambda row: row["row"])
    return {
        "format": work.format,
        "mode": query.mode,
        "understood": work.understood,
        "outcomes": _counted(row["outcome"] for row in rows),
        "trials": _counted(entry.outcome for entry in work.entries),
        "sessions_created": len(work.opened),
        "rows": rows,
    }


def _kept(work: Prepared, rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Return what is stored of an import beside its answer: what an undo and a correction need."""
    wrong = {row["row"]: row["errors"] for row in rows if row["outcome"] == "error"}
    return {
        "session_ids": [row.id for row in work.opened],
        "refused": work.sheet and refused.refused_sheet(work.sheet, wrong),
    }


def _row(number: int, entry: Entry) -> dict[str, Any]:
    return {
        "row": number,
        "client_ref": entry.client_ref,
        "outcome": entry.outcome,
        "id": None if entry.faults else entry.trial_id,
        "state": _state(entry),
        "flags": [flag.message for flag in entry.flags],
        "errors": [fault.shown() for fault in entry.faults if fault.row == number],
    }


def _state(entry: Entry) -> str | None:
    if entry.faults:
        return None
    return flags.HELD if entry.holds else flags.ACCEPTED


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


def get(db: Session, caller: Caller, import_id: str) -> ImportRead:
    """Return an import of this key, or for a lead of any."""
    return resources.read(ImportRead, resources.get_row(db, caller, ImportBatch, import_id))

"""Carrying an import out: the same way for a file, pasted cells, JSON and a dry run."""

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from pydantic import ValidationError
from sqlmodel import Session, col, delete, select

from api.errors import ApiError, FieldError, Invalid, TooLarge
from api.models.ids import new_id
from api.models.imports import ImportBatch, ImportQuery, ImportRead, ImportTried
from api.models.sessions import BenchSession, SessionCreate
from api.models.trials import TrialCreate
from api.models.validation import invalid
from api.services import resources, sessions, trials
from api.services.imports.cells import decimal_sign
from api.services.imports.drafts import SESSION_COLUMNS, Draft, group, read_rows, shape
from api.services.imports.headers import Header
from api.services.imports.names import Directory
from api.services.imports.sheet import DELIMITERS, read_sheet
from api.services.scope import Caller

SessionKey = tuple[str, str, datetime]


@dataclass(slots=True)
class Entry:
    """One trial of an import: its rows, and what became of it."""

    rows: list[int]
    client_ref: str | None
    trial: TrialCreate | None = None
    faults: list[FieldError] = field(default_factory=list)
    trial_id: str | None = None
    created: bool = False

    @property
    def outcome(self) -> str:
        """Return the outcome in a word."""
        return "error" if self.faults else "created" if self.created else "unchanged"


@dataclass(slots=True)
class Work:
    """An import on its way."""

    format: str
    understood: dict[str, Any]
    entries: list[Entry]
    loose_faults: list[FieldError] = field(default_factory=list)
    new_sessions: list[BenchSession] = field(default_factory=list)
    header: Header | None = None

    @property
    def faults(self) -> list[FieldError]:
        """Return everything that is wrong, in the order of rows."""
        all_faults = [*self.loose_faults, *(f for entry in self.entries for f in entry.faults)]
        return sorted(all_faults, key=lambda fault: fault.row or 0)


def import_sheet(
    db: Session, caller: Caller, body: bytes, query: ImportQuery, most_rows: int
) -> ImportRead | ImportTried:
    """Import a CSV or tab-separated file."""
    sheet = read_sheet(body, most_rows)
    decimal = decimal_sign(sheet.rows, sheet.header)
    drafts = group(read_rows(sheet.rows, sheet.header, decimal))
    understood = {
        "encoding": sheet.encoding,
        "delimiter": DELIMITERS[sheet.delimiter],
        "decimal_sign": decimal,
        "columns": dict(zip(sheet.header.titles, sheet.header.keys, strict=True)),
        "rows": len(sheet.rows),
    }
    name = "tsv" if sheet.delimiter == "\t" else "csv"
    import_id = new_id(ImportBatch.prefix)

    def read(inner: Session) -> Work:
        work = Work(name, understood, [], sheet.faults, header=sheet.header)
        directory = Directory(inner, caller, query.season_id)
        opened = _Sessions(inner, caller, sheet.header)
        for draft in drafts:
            shape(draft, directory, sheet.header)
            work.entries.append(_entry(draft, opened))
        work.new_sessions = opened.created
        return work

    return _carry_out(db, caller, query, import_id, body, read)


def import_trials(
    db: Session,
    caller: Caller,
    body: bytes,
    items: Sequence[Any],
    query: ImportQuery,
    most_rows: int,
) -> ImportRead | ImportTried:
    """Import a JSON batch of trials."""
    if len(items) > most_rows:
        raise TooLarge(f"the batch has more than {most_rows} trials; send it in parts")
    entries = [_json_entry(number, item) for number, item in enumerate(items, start=1)]

    def read(inner: Session) -> Work:
        fresh = [replace(entry, faults=list(entry.faults)) for entry in entries]
        return Work("json", {"trials": len(items)}, fresh)

    return _carry_out(db, caller, query, new_id(ImportBatch.prefix), body, read)


def _json_entry(number: int, item: Any) -> Entry:
    ref = item.get("client_ref") if isinstance(item, dict) else None
    entry = Entry([number], ref if isinstance(ref, str) else None)
    try:
        entry.trial = TrialCreate.model_validate(item)
    except ValidationError as error:
        entry.client_ref = None
        found = invalid(error, {"trials": {number - 1: item}}, prefix=("trials", number - 1))
        entry.faults = [replace(fault, row=number) for fault in found.errors]
    return entry


class _Sessions:
    """The sessions that rows name: found, or created from the first row that needs them."""

    def __init__(self, db: Session, caller: Caller, header: Header) -> None:
        self.db, self.caller, self.header = db, caller, header
        self.known: dict[SessionKey, BenchSession] = {}
        self.created: list[BenchSession] = []

    def find_or_open(self, wanted: SessionCreate, draft: Draft) -> BenchSession | None:
        """Return a draft's session; note where a stored one says otherwise."""
        key = (wanted.bench_id, wanted.season_id, wanted.started_at)
        row = self.known.get(key) or self._stored(key)
        if row is None:
            row = self._open(wanted, draft)
        elif self._differs(row, wanted, draft):
            return None
        if row is not None:
            self.known[key] = row
        return row

    def _stored(self, key: SessionKey) -> BenchSession | None:
        found = select(BenchSession).where(
            col(BenchSession.bench_id) == key[0],
            col(BenchSession.season_id) == key[1],
            col(BenchSession.started_at) == key[2],
        )
        return self.db.scalars(found).one_or_none()

    def _open(self, wanted: SessionCreate, draft: Draft) -> BenchSession | None:
        try:
            row = sessions.add(self.db, self.caller, wanted)
        except ApiError as refusal:
            draft.faults += _placed(refusal, draft.rows[0].number, self.header)
            return None
        self.created.append(row)
        return row

    def _differs(self, row: BenchSession, wanted: SessionCreate, draft: Draft) -> bool:
        first = draft.rows[0]
        before = len(draft.faults)
        for column in SESSION_COLUMNS:
            stored, mine = getattr(row, column), getattr(wanted, column)
            if column in first.values and mine != stored:
                words = f"the session has {_in_words(stored)} already"
                draft.faults.append(
                    FieldError(
                        "session_differs",
                        words,
                        "Leave the cell empty, or change the session.",
                        row=first.number,
                        column=self.header.title(column),
                        value=str(first.values[column]),
                    )
                )
        return len(draft.faults) > before


def _in_words(stored: Any) -> str:
    return {True: "yes", False: "no", None: "nothing"}.get(stored, str(stored))


def _entry(draft: Draft, opened: _Sessions) -> Entry:
    """Return a draft as a trial that points at its session and build, or with its faults."""
    entry = Entry([row.number for row in draft.rows], draft.client_ref)
    if not draft.faults and draft.session is not None and draft.place is not None:
        session = opened.find_or_open(draft.session, draft)
        if session is not None:
            ids = {"session_id": session.id, "build_id": draft.place.build.id}
            entry.trial = TrialCreate.model_validate(ids | (draft.trial or {}))
    entry.faults = draft.faults
    return entry


def _carry_out(
    db: Session, caller: Caller, query: ImportQuery, import_id: str, body: bytes, read: Any
) -> ImportRead | ImportTried:
    """Read, submit and tell; a dry run does all of it and then takes it back."""
    tried = db.begin_nested()
    stored = _placeholder(db, caller, import_id, query, body)
    work: Work = read(db)
    _submit(db, caller, work, import_id)
    facts = _facts(work, query)
    if query.dry_run:
        tried.rollback()
        return ImportTried.model_validate(facts | {"dry_run": True})
    if work.faults and query.mode == "all":
        raise Invalid(_summary(work), work.faults)
    _drop_unused(db, work)
    facts["sessions_created"] = len(work.new_sessions)
    for name, value in facts.items():
        setattr(stored, name, value)
    db.flush()
    tried.commit()
    return resources.read(ImportRead, stored)


def _placeholder(
    db: Session, caller: Caller, import_id: str, query: ImportQuery, body: bytes
) -> ImportBatch:
    """Store the import first, since its trials point at it."""
    row = ImportBatch(
        id=import_id,
        key_id=caller.key_id,
        digest=hashlib.sha256(body).hexdigest(),
        format="",
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


def _submit(db: Session, caller: Caller, work: Work, import_id: str) -> None:
    """Submit the sound trials together and note what became of each."""
    sound = [entry for entry in work.entries if entry.trial is not None and not entry.faults]
    shapes = [entry.trial for entry in sound if entry.trial is not None]
    for entry, outcome in zip(sound, trials.submit(db, caller, shapes, import_id), strict=True):
        entry.trial_id, entry.created = outcome.trial_id, outcome.created
        if outcome.refusal is not None:
            entry.faults = _placed(outcome.refusal, entry.rows[0], work.header)


def _placed(refusal: ApiError, row: int, header: Header | None) -> list[FieldError]:
    """Return a refusal's faults at a row, and in a file at the title of their column."""
    faults = refusal.errors or [FieldError(refusal.slug, str(refusal))]
    placed = []
    for fault in faults:
        name = (fault.pointer or "").strip("/").split("/")[0]
        if header is None:
            placed.append(
                replace(fault, row=row, pointer=f"/trials/{row - 1}{fault.pointer or ''}")
            )
        else:
            column = header.title(PLACES.get(name, name)) if name else None
            placed.append(replace(fault, row=row, pointer=None, column=column))
    return placed


#: Where a file says what a field of the service says.
PLACES = {
    "runs": "voltage_v",
    "session_id": "adult_present",
    "started_at": "session_started_at",
    "build_id": "build",
}


def _facts(work: Work, query: ImportQuery) -> dict[str, Any]:
    by_row = {
        number: {
            "row": number,
            "client_ref": entry.client_ref,
            "outcome": entry.outcome,
            "id": None if entry.faults else entry.trial_id,
            "errors": [fault.shown() for fault in entry.faults if fault.row == number],
        }
        for entry in work.entries
        for number in entry.rows
    }
    for fault in work.loose_faults:
        by_row[fault.row or 0] = {
            "row": fault.row,
            "client_ref": None,
            "outcome": "error",
            "id": None,
            "errors": [fault.shown()],
        }
    rows = [by_row[number] for number in sorted(by_row)]
    return {
        "format": work.format,
        "mode": query.mode,
        "understood": work.understood,
        "outcomes": _counted(row["outcome"] for row in rows),
        "trials": _counted(entry.outcome for entry in work.entries),
        "sessions_created": len(work.new_sessions),
        "rows": rows,
    }


def _counted(outcomes: Any) -> dict[str, int]:
    counts = Counter(outcomes)
    return {outcome: counts[outcome] for outcome in ("created", "unchanged", "error")}


def _summary(work: Work) -> str:
    wrong = len({fault.row for fault in work.faults})
    return f"{wrong} rows cannot be accepted, so nothing was stored"


def _drop_unused(db: Session, work: Work) -> None:
    """Take back sessions that were opened for trials which were then refused."""
    used = {entry.trial.session_id for entry in work.entries if entry.trial and not entry.faults}
    unused = [row for row in work.new_sessions if row.id not in used]
    if unused:
        ids = [row.id for row in unused]
        db.execute(delete(BenchSession).where(col(BenchSession.id).in_(ids)))
    work.new_sessions = [row for row in work.new_sessions if row.id in used]


def get(db: Session, caller: Caller, import_id: str) -> ImportRead:
    """Return an import of this key, or for a lead of any."""
    row = resources.get_row(db, caller, ImportBatch, import_id)
    return resources.read(ImportRead, row)

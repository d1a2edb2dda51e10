"""Write the audit log; each entry is sealed to the one before it."""

import hashlib
import json
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from typing import Any

from sqlmodel import Session, SQLModel, col, func, select

from api.models.core.audit import AuditChain, AuditEntry
from api.models.core.ids import new_id
from api.models.core.shapes import Recorded
from api.models.imports.imports import ImportBatch
from api.services.core import turns
from api.services.core.changes import note_writer
from api.services.core.scope import Caller

PROGRAMME = "programme"
#: The audit log says that free text changed, and not how; for an address, whether there is one.
FREE_TEXT, HIDDEN_TEXT = {"note"}, ["(words)", "(other words)"]
ADDRESS, HIDDEN_ADDRESS = "sign_in_email", "(address)"
SEALED = ("season_id", "organisation_id", "thing", "thing_id", "action", "changes", "reason",
          "key_id", "key_label", "created_at", "chain", "number", "previous_seal")  # fmt: skip


def note(
    db: Session,
    caller: Caller,
    action: str,
    row: Recorded,
    changes: dict[str, Any] | None = None,
    reason: str | None = None,
) -> None:
    """Add an audit entry for an action on a row."""
    _add(db, caller, action, row, _plain(changes), reason)
    db.flush()


def note_created(db: Session, rows: Iterable[tuple[Caller, Recorded]]) -> None:
    """Add an audit entry for each new row, with the caller who created it."""
    for caller, row in rows:
        _add(db, caller, "created", row, None, None)
    db.flush()


def _add(
    db: Session,
    caller: Caller,
    action: str,
    row: Recorded,
    changes: dict[str, Any] | None,
    reason: str | None,
) -> None:
    season_id = getattr(row, "season_id", None) or (row.id if row.prefix == "sea" else None)
    organisation_id = getattr(row, "organisation_id", None) or (
        row.id if row.prefix == "org" else None
    )
    is_import = row.prefix == ImportBatch.prefix  # about the schools of its trials
    note_writer(db, caller.key_id, set() if is_import else {organisation_id})
    chain = season_id or PROGRAMME
    turns.take(db, [chain])
    last = db.get(AuditChain, chain) or _first(db, chain)
    entry = AuditEntry(
        id=new_id(AuditEntry.prefix),
        season_id=season_id,
        organisation_id=organisation_id,
        thing=str(row.__tablename__),
        thing_id=row.id,
        action=action,
        changes=changes,
        reason=reason,
        key_id=caller.key_id,
        key_label=caller.label,
        created_at=datetime.now(UTC).replace(microsecond=0),
        chain=chain,
        number=last.number + 1,
        previous_seal=last.seal,
        seal="",
    )
    entry.seal = seal_of(entry)
    last.number, last.seal = entry.number, entry.seal
    db.add(entry)


def _first(db: Session, chain: str) -> AuditChain:
    """Begin a chain, and flush it so that the next entry can read it."""
    new_chain = AuditChain(chain=chain, number=0, seal="")
    db.add(new_chain)
    db.flush()
    return new_chain


def _plain(changes: dict[str, Any] | None) -> dict[str, Any] | None:
    """Return the changes as JSON values; for free text only the fact that it changed.

    A name or an address that was removed must not survive in the audit log.
    """
    hidden = dict.fromkeys((changes or {}).keys() & FREE_TEXT, HIDDEN_TEXT)
    if changes and ADDRESS in changes:
        hidden[ADDRESS] = [value and HIDDEN_ADDRESS for value in changes[ADDRESS]]
    changes = changes and changes | hidden
    plain_changes: dict[str, Any] | None = json.loads(json.dumps(changes, default=str))
    return plain_changes


def seal_of(entry: AuditEntry) -> str:
    """Return the seal of an entry: a digest of its fields and of the previous seal."""
    sealed = {name: getattr(entry, name) for name in SEALED}
    sealed["created_at"] = entry.created_at.astimezone(UTC).isoformat()
    return hashlib.sha256(json.dumps(sealed, sort_keys=True).encode()).hexdigest()


def broken_seals(db: Session) -> Iterator[str]:
    """Yield a sentence for each break in the chains of the audit log."""
    before: dict[str, AuditEntry] = {}
    in_order = select(AuditEntry).order_by(col(AuditEntry.chain), col(AuditEntry.number))
    for entry in db.scalars(in_order):
        last = before.get(entry.chain)
        expected = (1, "") if last is None else (last.number + 1, last.seal)
        if (entry.number, entry.previous_seal) != expected:
            yield f"{entry.chain}: entries are missing before {entry.id}"
        if entry.erasure_id is None and entry.seal != seal_of(entry):
            yield f"{entry.chain}: {entry.id} was changed after it was written"
        before[entry.chain] = entry
    ends = {row.chain: (row.number, row.seal) for row in db.scalars(select(AuditChain))}
    for chain in sorted(ends.keys() | before.keys()):
        newest = before.get(chain)
        if ends.get(chain) != (newest and (newest.number, newest.seal)):
            yield f"{chain}: entries are missing at its end"


def newest_moment(db: Session) -> datetime | None:
    """Return the time of the newest audit entry."""
    return db.scalar(select(func.max(col(AuditEntry.created_at))))


def moved(row: SQLModel, changes: dict[str, Any]) -> dict[str, Any]:
    """Return the fields that the changes would alter, each with its value before and after."""
    return {
        name: [getattr(row, name), value]
        for name, value in changes.items()
        if getattr(row, name) != value
    }

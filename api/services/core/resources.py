"""What all collections do alike: find one, list a page, store, change."""

import base64
import binascii
import hashlib
import json
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Select
from sqlalchemy.exc import InvalidRequestError
from sqlmodel import Session, SQLModel, col

from api.errors import FieldError, Invalid, NotFound, Stale
from api.messages import say
from api.models.core.ids import is_id, new_id
from api.models.core.shapes import Answer, Input, PageQuery, Stored
from api.services.core import audit
from api.services.core.scope import Caller, Table, visible

#: Means whatever version there is; real ones count from 1.
ANY_VERSION = -1

Read = TypeVar("Read", bound=Answer)


def get_row(
    db: Session, caller: Caller, table: type[Table], row_id: str, field: str | None = None
) -> Table:
    """Return a thing that the caller may see; absent and not theirs answer alike."""
    row = None
    if is_id(table.prefix, row_id):
        row = db.scalars(visible(caller, table).where(col(table.id) == row_id)).one_or_none()
    if row is None:
        words = say(f"refused.no_{table.__tablename__}", id=row_id[:60])
        pointed = [FieldError("not_found", words, pointer=f"/{field}")] if field else []
        raise NotFound(words, pointed)
    return row


def lock(db: Session, row: Stored) -> None:
    """Read a thing again as it is now, and keep it from others until this transaction ends.

    KEY SHARE of those who point at the row stays possible: trials arrive meanwhile.
    """
    try:
        db.refresh(row, with_for_update={"key_share": True})
    except InvalidRequestError as error:  # removed by somebody since it was found
        raise NotFound(say("refused.gone", thing=row.__tablename__, id=row.id)) from error


def read(shape: type[Read], row: SQLModel, **more: Any) -> Read:
    """Return a stored thing in the shape it is answered in."""
    return shape.model_validate(row, update=more or None)


def store(db: Session, caller: Caller, table: type[Table], facts: Input, **more: Any) -> Table:
    """Add a new thing, with an id, and give it to the database so that it can be pointed at."""
    known = {"id": new_id(table.prefix), "as_typed": facts.typed(), **more}
    row = table.model_validate(facts.model_dump() | known)
    db.add(row)
    db.flush()
    audit.note(db, caller, "created", row)
    return row


def change(
    db: Session, caller: Caller, row: Stored, changes: Input, version: int, **more: Any
) -> dict[str, Any]:
    """Write what a change names; return the fields whose values it moved."""
    lock(db, row)
    if version not in (row.version, ANY_VERSION):
        raise Stale(say("refused.stale", version=row.version, based_on=version))
    asked = changes.model_dump(exclude_unset=True) | more
    named = {name: value for name, value in asked.items() if name in type(row).model_fields}
    moved = {name: value for name, value in named.items() if getattr(row, name) != value}
    moved_facts = audit.moved(row, moved)
    for name, value in moved.items():
        setattr(row, name, value)
    kept = {name: typed for name, typed in row.as_typed.items() if name not in named}
    row.as_typed = kept | changes.typed()
    row.version += 1
    db.flush()
    if moved_facts:
        audit.note(db, caller, "changed", row, moved_facts)
    return moved


def page(
    db: Session,
    caller: Caller,
    table: type[Table],
    query: PageQuery,
    *conditions: ColumnElement[bool],
) -> tuple[list[Table], str | None]:
    """Return one page of a list in the order of ids, and the cursor of the next."""
    rows = list(db.scalars(_listed(caller, table, query).where(*conditions)))
    if len(rows) <= query.limit:
        return rows, None
    return rows[:-1], _cursor(table, query, rows[-2].id)


def page_of_ids(
    db: Session, caller: Caller, table: type[Stored], query: PageQuery
) -> tuple[list[str], str | None]:
    """Return the ids of one page of a list, and the cursor of the next."""
    statement = _listed(caller, table, query).with_only_columns(col(table.id))
    ids = list(db.scalars(statement))
    if len(ids) <= query.limit:
        return ids, None
    return ids[:-1], _cursor(table, query, ids[-2])


def _listed(caller: Caller, table: type[Table], query: PageQuery) -> Select[Table]:
    """Return the statement of one page of a list and of the first thing behind it."""
    statement = visible(caller, table)
    for name, value in query.column_filters().items():
        statement = statement.where(getattr(table, name) == value)
    if query.cursor:
        statement = statement.where(col(table.id) > _after(table, query))
    return statement.order_by(col(table.id)).limit(query.limit + 1)


def newest(
    db: Session,
    caller: Caller,
    table: type[Table],
    *conditions: ColumnElement[bool],
    most: int = 200,
) -> list[Table]:
    """Return the newest things of a kind that the caller may see, newest first."""
    wanted = visible(caller, table).where(*conditions)
    return list(db.scalars(wanted.order_by(col(table.id).desc()).limit(most)))


def _fingerprint(table: type[Stored], query: PageQuery) -> str:
    """Return what tells one list from another, so that a cursor stays with its own."""
    asked = json.dumps([table.__name__, query.filters()], sort_keys=True, default=str)
    return hashlib.sha256(asked.encode()).hexdigest()[:12]


def _cursor(table: type[Stored], query: PageQuery, last_id: str) -> str:
    mark = _fingerprint(table, query)
    return base64.urlsafe_b64encode(f"{mark}{last_id}".encode()).decode().rstrip("=")


def _after(table: type[Stored], query: PageQuery) -> str:
    """Return the id that a cursor stands after."""
    cursor, mark = query.cursor or "", _fingerprint(table, query)
    try:
        text = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode("ascii")
    except (binascii.Error, ValueError):
        text = ""
    if not text.startswith(mark):
        words = say("refused.other_list")
        raise Invalid(words, [FieldError("cursor", words, pointer="/cursor")])
    return text.removeprefix(mark)

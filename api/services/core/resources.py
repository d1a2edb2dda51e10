"""Operations that all collections share: get one, list the newest, store, change."""

from typing import Any, TypeVar

from sqlalchemy import ColumnElement
from sqlalchemy.exc import InvalidRequestError
from sqlmodel import Session, SQLModel, col

from api.errors import FieldError, NotFound, Stale
from api.messages import say
from api.models.core.ids import is_id, new_id
from api.models.core.shapes import Input, RecordedAnswer, Stored
from api.services.core import audit
from api.services.core.scope import Caller, Table, visible

#: Matches every version; real versions count from 1.
ANY_VERSION = -1

Read = TypeVar("Read", bound=RecordedAnswer)


def get_row(
    db: Session, caller: Caller, table: type[Table], row_id: str, field: str | None = None
) -> Table:
    """Return a thing that the caller may see; the error is the same if it is absent or hidden."""
    row = None
    if is_id(table.prefix, row_id):
        row = db.scalars(visible(caller, table).where(col(table.id) == row_id)).one_or_none()
    if row is None:
        words = say(f"refused.no_{table.__tablename__}", id=row_id[:60])
        pointed = [FieldError("not_found", words, pointer=f"/{field}")] if field else []
        raise NotFound(words, pointed)
    return row


def lock(db: Session, row: Stored) -> None:
    """Read a row again and lock it until this transaction ends.

    Rows that point at it can still be inserted (KEY SHARE), so trials are not blocked.
    """
    try:
        db.refresh(row, with_for_update={"key_share": True})
    except InvalidRequestError as error:  # removed since it was first read
        raise NotFound(say("refused.gone", thing=row.__tablename__, id=row.id)) from error


def read(shape: type[Read], row: SQLModel, **more: Any) -> Read:
    """Return a stored row as the shape of an answer."""
    return shape.model_validate(row, update=more or None)


def store(db: Session, caller: Caller, table: type[Table], facts: Input, **more: Any) -> Table:
    """Add a new row with an id, and flush it so that other rows can refer to it."""
    server_values = {"id": new_id(table.prefix), "as_typed": facts.typed(), **more}
    row = table.model_validate(facts.model_dump() | server_values)
    db.add(row)
    db.flush()
    audit.note(db, caller, "created", row)
    return row


def change(
    db: Session, caller: Caller, row: Stored, changes: Input, version: int, **more: Any
) -> dict[str, Any]:
    """Write the fields that a change names; return those whose values are new."""
    lock(db, row)
    if version not in (row.version, ANY_VERSION):
        raise Stale(say("refused.stale", version=row.version, based_on=version))
    asked = changes.model_dump(exclude_unset=True) | more
    named = {name: value for name, value in asked.items() if name in type(row).model_fields}
    moved = {name: value for name, value in named.items() if getattr(row, name) != value}
    moved_facts = audit.moved(row, moved)
    for name, value in moved.items():
        setattr(row, name, value)
    unchanged = {name: typed for name, typed in row.as_typed.items() if name not in named}
    row.as_typed = unchanged | changes.typed()
    row.version += 1
    db.flush()
    if moved_facts:
        audit.note(db, caller, "changed", row, moved_facts)
    return moved


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

"""Operations that all collections share: get one, list a page, store, change."""

import base64
import binascii
import hashlib
import json
from collections.abc import Callable
from functools import lru_cache
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Select, bindparam, select
from sqlalchemy.exc import InvalidRequestError
from sqlmodel import Session, SQLModel, col

from api.errors import FieldError, Invalid, NotFound, Stale
from api.messages import say
from api.models.core.ids import is_id, new_id
from api.models.core.shapes import Answer, Input, PageQuery, Stored
from api.prepared import Prepared
from api.services.core import audit
from api.services.core.scope import Caller, Table, visible, within_reach

#: Matches every version; real versions count from 1.
ANY_VERSION = -1
AT_ONCE = 200  # rows of a complete list that are read together

Read = TypeVar("Read", bound=Answer)
Listed = TypeVar("Listed")
Asked = TypeVar("Asked", bound=PageQuery)


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


def every(read: Callable[[Asked], tuple[list[Listed], str | None]], query: Asked) -> list[Listed]:
    """Return a complete list, read page by page."""
    asked = query.model_copy(update={"limit": AT_ONCE})
    rows, cursor = read(asked)
    while cursor:
        more, cursor = read(asked.model_copy(update={"cursor": cursor}))
        rows += more
    return rows


def page_of_ids(
    db: Session, caller: Caller, table: type[Stored], query: PageQuery
) -> tuple[list[str], str | None]:
    """Return the ids of one page of a list of owned things, and the cursor of the next."""
    filters = query.column_filters()
    statement = _ids_listed(table, tuple(filters), bool(query.cursor), caller.reaches_all)
    after = _after(table, query) if query.cursor else None
    rows = statement.plain(
        db.connection(), **filters, after=after, most=query.limit + 1,
        reach=sorted(caller.organisation_ids or ()),
    )  # fmt: skip
    ids = [row_id for (row_id,) in rows]
    if len(ids) <= query.limit:
        return ids, None
    return ids[:-1], _cursor(table, query, ids[-2])


@lru_cache(maxsize=64)
def _ids_listed(
    table: type[Stored], filters: tuple[str, ...], has_cursor: bool, reaches_all: bool
) -> Prepared:
    """Return the query of `_listed` for ids, composed once for all callers and values."""
    conditions = [getattr(table, name) == bindparam(name) for name in filters]
    if not reaches_all:
        conditions.append(within_reach(table))
    if has_cursor:
        conditions.append(col(table.id) > bindparam("after"))
    ids = select(col(table.id)).where(*conditions).order_by(col(table.id))
    return Prepared(ids.limit(bindparam("most")))


def _listed(caller: Caller, table: type[Table], query: PageQuery) -> Select[Table]:
    """Return the query for one page of a list and the first row of the next page."""
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
    """Return a digest of a list and its filters, so that a cursor works only for its own list."""
    asked = json.dumps([table.__name__, query.filters()], sort_keys=True, default=str)
    return hashlib.sha256(asked.encode()).hexdigest()[:12]


def _cursor(table: type[Stored], query: PageQuery, last_id: str) -> str:
    mark = _fingerprint(table, query)
    return base64.urlsafe_b64encode(f"{mark}{last_id}".encode()).decode().rstrip("=")


def _after(table: type[Stored], query: PageQuery) -> str:
    """Return the id after which the page of a cursor begins."""
    cursor, mark = query.cursor or "", _fingerprint(table, query)
    try:
        text = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode("ascii")
    except (binascii.Error, ValueError):
        text = ""
    if not text.startswith(mark):
        words = say("refused.other_list")
        raise Invalid(words, [FieldError("cursor", words, pointer="/cursor")])
    return text.removeprefix(mark)

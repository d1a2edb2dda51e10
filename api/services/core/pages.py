"""List things by pages, in an order, with a cursor that names the last one."""

import base64
import binascii
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, Select, bindparam, func, literal, select, tuple_
from sqlalchemy.orm import defer
from sqlmodel import Session, col

from api.errors import FieldError, Invalid
from api.messages import say
from api.models.core.shapes import PageQuery, Recorded
from api.prepared import Prepared
from api.services.core.scope import Caller, Table, visible, within_reach

AT_ONCE = 200  # rows of a complete list that are read together
BY_TIME = "created_at"  # ids sort by the time at which they were given
MOMENT = "moment"  # what marks a moment in a cursor
Columns = Mapping[str, Any]
Value = str | datetime | None

Listed = TypeVar("Listed")
Asked = TypeVar("Asked", bound=PageQuery)


@dataclass(frozen=True, slots=True)
class Rest:
    """What is beyond a page: the cursor of the next one, and how many things all pages have.

    The things are counted only if the query asks for it.
    """

    cursor: str | None
    total: int | None = None


def page(
    db: Session,
    caller: Caller,
    table: type[Table],
    query: PageQuery,
    *conditions: ColumnElement[bool],
    unread: Sequence[Any] = (),
) -> tuple[list[Table], Rest]:
    """Return one page of a list, and what is beyond it; `unread` are columns to leave out."""
    wanted = visible(caller, table).where(*conditions, *_equal(table, query))
    left_out = [defer(column, raiseload=True) for column in unread]
    rows = list(db.scalars(_cut(wanted, table, query, {}).options(*left_out)))
    last = rows[query.limit - 1] if len(rows) > query.limit else None
    name = query.sort.removeprefix("-")
    cursor = _cursor(table, query, last.id, getattr(last, name)) if last else None
    return rows[: query.limit], Rest(cursor, _total(db, wanted, query))


def every(read: Callable[[Asked], tuple[list[Listed], Rest]], query: Asked) -> list[Listed]:
    """Return a complete list, read page by page."""
    asked = query.model_copy(update={"limit": AT_ONCE})
    rows, rest = read(asked)
    while rest.cursor:
        more, rest = read(asked.model_copy(update={"cursor": rest.cursor}))
        rows += more
    return rows


def page_of_chosen_ids(
    db: Session, table: type[Recorded], query: PageQuery, wanted: Select[Any], columns: Columns
) -> tuple[list[str], Rest]:
    """Return the ids of one page of what a query of ids chooses, and what is beyond it.

    `columns` are columns of other tables by which the list may be sorted, by name.
    """
    name = query.sort.removeprefix("-")
    by = columns[name] if name in columns else getattr(table, name)
    rows = db.execute(_cut(wanted.add_columns(by), table, query, columns)).all()
    last = rows[query.limit - 1] if len(rows) > query.limit else None
    cursor = _cursor(table, query, *last) if last else None
    return [row[0] for row in rows[: query.limit]], Rest(cursor, _total(db, wanted, query))


def page_of_ids(
    db: Session, caller: Caller, table: type[Recorded], query: PageQuery
) -> tuple[list[str], Rest]:
    """Return the ids of one page of a list of owned things by time, and what is beyond it.

    Its statement is composed once for all callers and values.
    """
    filters = query.column_filters()
    is_newest_first = query.sort == f"-{BY_TIME}"
    statement = _ids_listed(
        table, tuple(filters), bool(query.cursor), caller.reaches_all, is_newest_first
    )
    after = _after(table, query)[0] if query.cursor else None
    rows = statement.plain(
        db.connection(), **filters, after=after, most=query.limit + 1,
        reach=sorted(caller.organisation_ids or ()),
    )  # fmt: skip
    ids = [row_id for (row_id,) in rows]
    is_last = len(ids) <= query.limit
    cursor = None if is_last else _cursor(table, query, ids[query.limit - 1], None)
    if not query.total:
        return ids[: query.limit], Rest(cursor)
    wanted = visible(caller, table).where(*_equal(table, query))
    return ids[: query.limit], Rest(cursor, _total(db, wanted, query))


@lru_cache(maxsize=64)
def _ids_listed(
    table: type[Recorded],
    filters: tuple[str, ...],
    has_cursor: bool,
    reaches_all: bool,
    is_newest_first: bool,
) -> Prepared:
    row_id = col(table.id)
    conditions = [getattr(table, name) == bindparam(name) for name in filters]
    if not reaches_all:
        conditions.append(within_reach(table))
    if has_cursor:
        after: Any = bindparam("after")
        conditions.append(row_id < after if is_newest_first else row_id > after)
    ordered = select(row_id).where(*conditions)
    ordered = ordered.order_by(row_id.desc() if is_newest_first else row_id)
    return Prepared(ordered.limit(bindparam("most")))


def _equal(table: type[Recorded], query: PageQuery) -> list[ColumnElement[bool]]:
    return [getattr(table, name) == value for name, value in query.column_filters().items()]


def _cut(
    wanted: Select[Any], table: type[Recorded], query: PageQuery, columns: Columns
) -> Select[Any]:
    """Return the query for one page and the first row of the next."""
    order = _order(table, query, columns)
    is_descending = query.sort.startswith("-")
    if query.cursor:
        last = tuple_(*_values(_after(table, query), order))
        place = tuple_(*order)
        wanted = wanted.where(place < last if is_descending else place > last)
    ordered = (column.desc() if is_descending else column for column in order)
    return wanted.order_by(*ordered).limit(query.limit + 1)


def _order(table: type[Recorded], query: PageQuery, columns: Columns) -> list[Any]:
    """Return the columns by which a list is sorted; the last one is never equal in two rows."""
    name = query.sort.removeprefix("-")
    if name == BY_TIME:
        return [col(table.id)]
    return [columns[name] if name in columns else getattr(table, name), col(table.id)]


def _values(after: tuple[str, Value], order: Sequence[Any]) -> list[Any]:
    """Return the values of the last row in the columns of an order."""
    last_id, value = after
    return [last_id] if len(order) == 1 else [literal(value, order[0].type), last_id]


def _total(db: Session, wanted: Select[Any], query: PageQuery) -> int | None:
    if not query.total:
        return None
    return db.scalar(select(func.count()).select_from(wanted.order_by(None).subquery()))


def _fingerprint(table: type[Recorded], query: PageQuery) -> str:
    """Return a digest of a list, so that a cursor works only for its own filters and order."""
    asked = json.dumps([table.__name__, query.sort, query.filters()], sort_keys=True, default=str)
    return hashlib.sha256(asked.encode()).hexdigest()[:12]


def _cursor(table: type[Recorded], query: PageQuery, last_id: str, value: Any) -> str:
    """Return the cursor of the page after a row; `value` is the one that the list is sorted by."""
    place = None if query.sort.removeprefix("-") == BY_TIME else value
    last = json.dumps([last_id, place], default=_moment, ensure_ascii=False)
    text = f"{_fingerprint(table, query)}{last}"
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def _moment(value: datetime) -> dict[str, str]:
    return {MOMENT: value.isoformat()}


def _after(table: type[Recorded], query: PageQuery) -> tuple[str, Value]:
    """Return the id and the value after which the page of a cursor begins."""
    cursor, mark = query.cursor or "", _fingerprint(table, query)
    with suppress(binascii.Error, ValueError, TypeError, KeyError):
        text = base64.urlsafe_b64decode(cursor + "=" * (-len(cursor) % 4)).decode()
        if text.startswith(mark):
            last_id, value = json.loads(text.removeprefix(mark))
            return _storable(str(last_id)), _value(value)
    words = say("refused.other_list")
    raise Invalid(words, [FieldError("cursor", words, pointer="/cursor")])


def _value(place: Any) -> Value:
    if isinstance(place, dict):
        return datetime.fromisoformat(place[MOMENT])
    return None if place is None else _storable(str(place))


def _storable(text: str) -> str:
    """Refuse a text that no database can compare with those that it stores."""
    if "\0" in text:
        raise ValueError("a NUL in a cursor")
    text.encode()  # half of a character, from an escape of JSON, is a ValueError too
    return text

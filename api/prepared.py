"""Queries that are composed once and run by the driver, for requests that run many small ones.

SQLAlchemy takes longer to look up a composed statement and to bind its values than SQLite takes to
find a few rows.
"""

from collections import namedtuple
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice
from typing import Any

from sqlalchemy import BindParameter, Connection, Dialect, SelectBase
from sqlalchemy.exc import DBAPIError
from sqlalchemy.sql.visitors import iterate

Turn = Callable[[Any], Any]
Values = Mapping[str, Any]
Row = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class _Value:
    """The place of a value, or of a list of values, that is given by name when the query runs."""

    name: str
    is_list: bool


@dataclass(frozen=True, slots=True)
class _Part:
    """Parameters of a composed statement that follow each other: one, or all of a list.

    `value` is a `_Value` or a constant, and `turn` converts it for the driver.
    """

    parameters: Sequence[str]
    value: Any
    turn: Turn | None

    def bound(self, values: Values) -> Sequence[Any]:
        """Return the values for the driver; a list that is too short goes on with its last one."""
        each = self._each(values)
        each += each[-1:] * (len(self.parameters) - len(each))
        return each if self.turn is None else list(map(self.turn, each))

    def _each(self, values: Values) -> list[Any]:
        if not isinstance(self.value, _Value):
            return [self.value]
        value = values[self.value.name]
        return list(value) if self.value.is_list else [value]


@dataclass(frozen=True, slots=True)
class _Composed:
    """A statement as the driver takes it, with values by position or by name."""

    text: str
    parts: Sequence[_Part]
    by_position: bool

    def bound(self, values: Values) -> Any:
        """Return the values for the driver."""
        if self.by_position:
            return [value for part in self.parts for value in part.bound(values)]
        pairs = (zip(part.parameters, part.bound(values), strict=True) for part in self.parts)
        return {name: value for part in pairs for name, value in part}


class Prepared:
    """A query whose values are named `bindparam`s; those of lists are `expanding`."""

    def __init__(self, query: SelectBase) -> None:
        self._query = query
        self._named = {
            each.key: each
            for each in iterate(query)
            if isinstance(each, BindParameter) and each.required
        }
        self._lists = sorted(name for name, each in self._named.items() if each.expanding)
        names = [str(column.key) for column in query.selected_columns]
        self._row: Any = namedtuple("Row", names, rename=True)  # type: ignore[misc]  # of any query
        self._composed = lru_cache(maxsize=64)(self._compose)
        self._turns = lru_cache(maxsize=4)(self._result_turns)

    def plain(self, connection: Connection, **values: Any) -> list[Row]:
        """Return the rows with the values of the driver."""
        rows, _ = self._run(connection, values)
        return rows

    def rows(self, connection: Connection, **values: Any) -> list[Any]:
        """Return the rows as Python values by name."""
        return list(map(self._row._make, self.tuples(connection, **values)))

    def tuples(self, connection: Connection, **values: Any) -> list[Row]:
        """Return the rows as Python values; equal values of a column share one object."""
        rows, codes = self._run(connection, values)
        if not rows:
            return []
        turns = self._turns(connection.dialect, codes)
        if not any(turns):
            return rows
        return list(zip(*map(_turned, turns, zip(*rows, strict=True)), strict=True))

    def _run(self, connection: Connection, values: Values) -> tuple[list[Row], tuple[object, ...]]:
        """Return the rows with the values of the driver, and the driver's types of the columns."""
        lengths = tuple(_padded(len(values[name])) for name in self._lists)
        composed = self._composed(connection.dialect, lengths)
        bound = composed.bound(values)
        driver: Any = connection.dialect.loaded_dbapi
        cursor: Any = connection.connection.cursor()
        try:
            cursor.execute(composed.text, bound)
            return cursor.fetchall(), tuple(code for _, code, *_ in cursor.description)
        except driver.Error as error:
            raise DBAPIError.instance(
                composed.text, None, error, driver.Error, hide_parameters=True,
                dialect=connection.dialect,
            ) from error  # fmt: skip
        finally:
            cursor.close()

    def _compose(self, dialect: Dialect, lengths: tuple[int, ...]) -> _Composed:
        """Return the statement for lists of some lengths."""
        sizes = dict(zip(self._lists, lengths, strict=True))
        stand_ins = {name: [None] * sizes[name] if name in sizes else None for name in self._named}
        compiled = self._query.compile(dialect=dialect)
        state = compiled.construct_expanded_state(stand_ins)
        list_of = {one: name for name, each in state.parameter_expansion.items() for one in each}
        parts, parameters = [], iter(state.positiontup or state.parameters)
        for first in parameters:
            name = list_of.get(first, first)
            rest = islice(parameters, sizes.get(name, 1) - 1)
            turn = compiled.binds[name].type.dialect_impl(dialect).bind_processor(dialect)
            value = _Value(name, name in sizes) if name in self._named else state.parameters[first]
            parts.append(_Part((first, *rest), value, turn))
        return _Composed(state.statement, parts, state.positiontup is not None)

    def _result_turns(self, dialect: Dialect, codes: tuple[object, ...]) -> list[Turn | None]:
        """Return what converts each column's values from those of the driver, if anything does."""
        kinds = [column.type.dialect_impl(dialect) for column in self._query.selected_columns]
        return [
            kind.result_processor(dialect, code) for kind, code in zip(kinds, codes, strict=True)
        ]


def _turned(turn: Turn | None, values: Sequence[Any]) -> Sequence[Any]:
    """Return a column's values converted from those of the driver, each different one once."""
    if turn is None:
        return values
    turned = {value: turn(value) for value in set(values)}
    return [turned[value] for value in values]


def _padded(length: int) -> int:
    """Return the length that a list is filled up to, so that few statements serve all lengths.

    >>> [_padded(length) for length in (0, 1, 2, 3, 50)]
    [0, 1, 2, 4, 64]
    """
    return 1 << (length - 1).bit_length() if length else 0

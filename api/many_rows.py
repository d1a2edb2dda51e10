"""Handle many rows: split lists into parts for queries, and insert rows quickly.

Values are converted for the driver column by column. SQLAlchemy converts row by row, with a
dictionary for each, which doubles the time of a large import.
"""

from collections.abc import Iterable, Iterator, Sequence
from functools import cache, lru_cache
from typing import Any, TypeVar

from sqlalchemy import JSON, Column, Connection, Dialect, MetaData, Table, select, text
from sqlalchemy.exc import DBAPIError
from sqlalchemy.schema import CreateTable
from sqlalchemy.sql.compiler import SQLCompiler

Thing = TypeVar("Thing")

#: From this number of rows on, they are streamed to a server, in a third of the time.
STREAM_FROM = 1_000
STREAMED = 20_000  # rows in one statement, since statements have a time limit


def parts(things: Sequence[Thing], size: int = 1_000) -> Iterator[Sequence[Thing]]:
    """Yield things in parts that fit into one statement.

    >>> list(parts(["a", "b", "c"], 2))
    [['a', 'b'], ['c']]
    """
    for start in range(0, len(things), size):
        yield things[start : start + size]


def insert_rows(connection: Connection, table: Table, rows: Sequence[dict[str, Any]]) -> None:
    """Insert rows that all have the same columns; other columns get the database's default."""
    if not rows:
        return
    statement = _insert_of(connection.dialect, table, tuple(rows[0]))
    names = statement.positiontup or list(rows[0])
    if any(len(row) != len(names) for row in rows):
        raise ValueError("rows that are inserted together name the same columns")
    columns = (_bound(connection, table, name, [row[name] for row in rows]) for name in names)
    bound_rows: list[Any] = list(zip(*columns, strict=True))
    if statement.positiontup is not None:
        connection.exec_driver_sql(str(statement), bound_rows)
    elif len(bound_rows) >= STREAM_FROM and _may_stream(connection):
        _stream(connection, table, names, bound_rows)
    else:  # for a driver that takes values by name
        by_name = [dict(zip(names, values, strict=True)) for values in bound_rows]
        connection.exec_driver_sql(str(statement), by_name)


@lru_cache(maxsize=64)
def _insert_of(dialect: Dialect, table: Table, columns: tuple[str, ...]) -> SQLCompiler:
    """Return the statement that inserts these columns; composing it takes as long as a row."""
    return table.insert().compile(dialect=dialect, column_keys=list(columns))


def _bound(connection: Connection, table: Table, name: str, values: list[Any]) -> Iterable[Any]:
    """Return a column's values converted for the driver."""
    kind = table.columns[name].type.dialect_impl(connection.dialect)
    turn = kind.bind_processor(connection.dialect)
    if turn is None:
        return values
    if isinstance(kind, JSON):
        empty = turn({})  # most JSON values are empty
        return (turn(value) if value != {} else empty for value in values)
    return map(turn, values)


def _may_stream(connection: Connection) -> bool:
    """Tell whether the role may create temporary tables; cached for each connection."""
    may = text("SELECT has_database_privilege(current_database(), 'TEMPORARY')")
    if "may_stream" not in connection.info:
        connection.info["may_stream"] = bool(connection.scalar(may))
    return bool(connection.info["may_stream"])


def _stream(connection: Connection, table: Table, names: Sequence[str], rows: list[Any]) -> None:
    """Stream rows to a server through a temporary table.

    A server does not accept COPY into a table with row-level security; an INSERT from the temporary
    table does pass it. The table ends with the transaction: a DROP would make the driver forget its
    prepared statements.
    """
    own = _arriving(table)
    connection.execute(CreateTable(own, if_not_exists=True))
    for part in parts(rows, STREAMED):
        _copy(connection, own, names, part)
        connection.execute(table.insert().from_select(names, select(*(own.c[n] for n in names))))
        connection.execute(own.delete())


@cache
def _arriving(table: Table) -> Table:
    """Return a temporary table with the columns of another, which ends with the transaction."""
    columns: list[Column[Any]] = [Column(each.name, each.type) for each in table.columns]
    return Table(
        f"arriving_{table.name}",
        MetaData(),
        *columns,
        prefixes=["TEMPORARY"],
        postgresql_on_commit="DROP",
    )


def _copy(connection: Connection, into: Table, names: Sequence[str], rows: Sequence[Any]) -> None:
    """Write rows into a COPY stream; raise errors as any other statement does."""
    quote = connection.dialect.identifier_preparer.quote
    statement = f"COPY {quote(into.name)} ({', '.join(map(quote, names))}) FROM STDIN"
    driver: Any = connection.dialect.loaded_dbapi
    cursor: Any = connection.connection.cursor()
    try:
        with cursor.copy(statement) as stream:
            for row in rows:
                stream.write_row(row)
    except driver.Error as error:
        raise DBAPIError.instance(
            statement, None, error, driver.Error, hide_parameters=True, dialect=connection.dialect
        ) from error
    finally:
        cursor.close()

"""The database: engines, constraint names, and the unit of work.

SQLite has one writer at a time: threads wait for a lock in this process, which
is fair and fast, instead of competing for the lock of the file. Reads use an
engine of their own and never wait for a writer.
"""

import threading
from collections.abc import Collection, Iterator
from contextlib import AbstractContextManager, closing, contextmanager, nullcontext
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Engine, event, text
from sqlmodel import Session, SQLModel

from api.embedded import JOURNAL, engine_for, file_of, is_embedded

SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

#: Row-level security reads this setting; it lasts until the transaction ends.
NARROW = text("SELECT set_config('gustbook.reach', :reach, true)")
NOBODY = "nobody"


@contextmanager
def reading_with(engine: Engine) -> Iterator[Session]:
    """Open a read-only session that sees one snapshot of the database."""
    with Session(engine, expire_on_commit=False) as db:
        yield db
        if engine.dialect.name == "postgresql":
            # A rollback makes the driver forget its prepared statements, and planning the
            # large ones takes longer than running them.
            db.expunge_all()
            db.commit()


@dataclass(frozen=True, slots=True)
class Database:
    """The engines of one programme: one that writes, one that reads."""

    write_engine: Engine
    read_engine: Engine
    writer_turn: AbstractContextManager[Any]
    lookup_engine: Engine
    #: Whether lookups may run in the event loop, because none of them can wait.
    looks_up_at_once: bool = False

    @contextmanager
    def unit_of_work(self, reach: Collection[str] | None = None) -> Iterator[Session]:
        """Open a session that commits once when the block ends, or not at all.

        With `reach`, a server writes only rows of these organisations: a second protection, should
        a condition of `services/core/scope.py` be missing.
        """
        with self.writer_turn, Session(self.write_engine, expire_on_commit=False) as db, db.begin():
            if reach is not None and self.write_engine.dialect.name == "postgresql":
                db.connection().execute(NARROW, {"reach": ",".join(sorted(reach)) or NOBODY})
            yield db

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Open a read-only session that sees one snapshot of the database."""
        with reading_with(self.read_engine) as db:
            yield db

    @contextmanager
    def looking_up(self) -> Iterator[Session]:
        """Open a session for a lookup of a few rows, in the event loop where it can be quick.

        With a write-ahead log a lookup takes a tenth of a millisecond and never waits; handing it
        to a thread takes four times as long. A server is asked without a transaction around it,
        which would double the questions to it.
        """
        with reading_with(self.lookup_engine) as db:
            yield db

    def compact(self) -> None:
        """Free the space of deleted rows, so that the file no longer has their contents."""
        with self.writer_turn, closing(self.write_engine.raw_connection()) as connection:
            driver: Any = connection.driver_connection
            connection.detach()  # VACUUM runs outside transactions, so not in the pool
            if self.write_engine.dialect.name == "postgresql":
                driver.autocommit = True
                driver.execute("SET statement_timeout = 0")
            driver.execute("VACUUM")
            if self.write_engine.dialect.name == "sqlite":
                driver.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # the write-ahead log has it too

    def close(self) -> None:
        """Close all connections."""
        for engine in (self.write_engine, self.read_engine, self.lookup_engine):
            engine.dispose()


def open_database(
    database_url: str,
    *,
    threads: int,
    busy_timeout_s: float,
    statement_timeout_s: float = 60.0,
    behind_pooler: bool = False,
) -> Database:
    """Return the engines of a programme, without connecting yet.

    A server cancels a statement that takes too long; an embedded database has one writer and quick
    reads, and needs no such limit. Behind a pooler each transaction may have another connection to
    the server, so that a connection can keep neither settings nor prepared statements.
    """
    if is_embedded(database_url):
        return _open_sqlite(database_url, threads, busy_timeout_s)
    settings = {
        "statement_timeout": int(statement_timeout_s * 1000),
        # Planning a join of twenty tables again takes longer than running it for a bench.
        "plan_cache_mode": "force_generic_plan",
    }
    options = " ".join(f"-c {name}={value}" for name, value in settings.items())
    engine = engine_for(
        database_url,
        hide_parameters=True,  # keep typed texts out of the log
        pool_size=threads,
        max_overflow=0,
        pool_timeout=busy_timeout_s,
        pool_pre_ping=True,
        pool_use_lifo=True,  # the connection used last has the plans of our statements
        connect_args={"prepare_threshold": None} if behind_pooler else {"options": options},
    )
    # A report is several statements: all of them must see the same moment.
    read_engine = engine.execution_options(
        isolation_level="REPEATABLE READ", postgresql_readonly=True
    )
    lookup_engine = engine.execution_options(isolation_level="AUTOCOMMIT")
    return Database(engine, read_engine, nullcontext(), lookup_engine)


def _open_sqlite(database_url: str, threads: int, busy_timeout_s: float) -> Database:
    file_of(database_url).parent.mkdir(parents=True, exist_ok=True)
    pool: dict[str, Any] = {
        "pool_timeout": busy_timeout_s,
        "max_overflow": 0,
        "hide_parameters": True,
    }
    write = engine_for(database_url, pool_size=1, **pool)
    read = engine_for(database_url, pool_size=threads, **pool)
    # Keep changed pages in memory until the commit: writing them early would block readers.
    _begin_by_hand(write, "BEGIN IMMEDIATE", busy_timeout_s, "cache_spill = OFF")
    _begin_by_hand(read, "BEGIN", busy_timeout_s)
    if JOURNAL != "WAL":
        return Database(write, read, threading.Lock(), read)
    lookup = engine_for(database_url, pool_size=1, **pool)
    _begin_by_hand(lookup, "BEGIN", busy_timeout_s)
    return Database(write, read, threading.Lock(), lookup, looks_up_at_once=True)


def _begin_by_hand(engine: Engine, statement: str, busy_timeout_s: float, *settings: str) -> None:
    """Let `engine` open every transaction with `statement`, instead of the driver."""
    pragmas = (
        f"busy_timeout = {int(busy_timeout_s * 1000)}",
        "foreign_keys = ON",
        "synchronous = FULL",
        "trusted_schema = OFF",
        f"journal_mode = {JOURNAL}",
        *settings,
    )

    @event.listens_for(engine, "connect")
    def settle(connection: Any, record: Any) -> None:
        connection.isolation_level = None
        for pragma in pragmas:
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def start(connection: Connection) -> None:
        connection.exec_driver_sql(statement)

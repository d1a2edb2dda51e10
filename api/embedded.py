"""The embedded database: its SQLite library, and the journal mode that is safe with it.

A wheel has a newer SQLite than most systems; without a wheel for a machine, Python's own SQLite is
used. With a write-ahead log readers never wait for writers; with a rollback journal a large commit
makes readers wait.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from itertools import count
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine
from sqlalchemy.engine import make_url

try:
    from pysqlite3 import dbapi2 as sqlite_library
except ImportError:
    import sqlite3 as sqlite_library

#: First releases in which two connections can no longer damage a write-ahead log between them
#: (sqlite.org/wal.html, "the WAL-reset bug"): back-ports first.
WAL_BACKPORTS = ((3, 44, 6), (3, 50, 7))
WAL_SAFE_FROM = (3, 51, 3)
#: Endings of the files that belong to a database, and are useless or harmful without it.
COMPANIONS = ("-journal", "-wal", "-shm")

#: How often SQLite looks whether a limit of steps is reached; it counts on from run to run of a
#: statement, so that a look says little by itself.
STEPS_BETWEEN_LOOKS = 10_000


def journal_mode(version: tuple[int, ...]) -> str:
    """Return the journal mode that is safe with a version of SQLite.

    >>> journal_mode((3, 40, 1)), journal_mode((3, 44, 6)), journal_mode((3, 51, 3))
    ('TRUNCATE', 'WAL', 'WAL')
    """
    backported = any(version[:2] == port[:2] and version >= port for port in WAL_BACKPORTS)
    return "WAL" if version >= WAL_SAFE_FROM or backported else "TRUNCATE"


SQLITE_VERSION: str = sqlite_library.sqlite_version
JOURNAL = journal_mode(sqlite_library.sqlite_version_info)


def is_embedded(database_url: str | URL) -> bool:
    """Tell whether a database is an SQLite file."""
    return make_url(database_url).get_backend_name() == "sqlite"


def file_of(database_url: str) -> Path:
    """Return the file of an embedded database."""
    return Path(make_url(database_url).database or "")


def files_of(database: Path) -> list[Path]:
    """Return a database's file and those that belong to it, whether they exist or not."""
    return [database.with_name(f"{database.name}{ending}") for ending in ("", *COMPANIONS)]


@contextmanager
def interrupted_after(steps: int, connection: Connection) -> Iterator[None]:
    """Interrupt statements once they took more steps of SQLite's machine together.

    The interrupted one raises `OperationalError`. 100,000 steps take 2 to 7 ms.
    """
    driver: Any = connection.connection.driver_connection
    looks = count(1)
    driver.set_progress_handler(
        lambda: next(looks) * STEPS_BETWEEN_LOOKS > steps, STEPS_BETWEEN_LOOKS
    )
    try:
        yield
    finally:
        driver.set_progress_handler(None, 0)


def engine_for(database_url: str | URL, **options: Any) -> Engine:
    """Return an engine; for a file with the SQLite library of the service.

    Two libraries on one file could damage it, since their locking rules differ.
    """
    if is_embedded(database_url):
        options["module"] = sqlite_library
    return create_engine(database_url, **options)

"""The embedded database: which SQLite keeps it, and which journal that SQLite keeps safely.

A wheel carries a newer SQLite than most systems have; where there is none for a machine, Python's
own is used. With a write-ahead log nobody who reads waits for who writes; with a rollback journal a
large commit makes readers wait.
"""

from pathlib import Path
from typing import Any

from sqlalchemy import URL, Engine, create_engine
from sqlalchemy.engine import make_url

try:
    from pysqlite3 import dbapi2 as sqlite_library
except ImportError:
    import sqlite3 as sqlite_library

#: First releases in which two connections can no longer damage a write-ahead log between them
#: (sqlite.org/wal.html, "the WAL-reset bug"): back-ports first.
WAL_BACKPORTS = ((3, 44, 6), (3, 50, 7))
WAL_SAFE_FROM = (3, 51, 3)
#: Endings of the files that belong to a database and mean nothing, or harm, without it.
COMPANIONS = ("-journal", "-wal", "-shm")


def journal_mode(version: tuple[int, ...]) -> str:
    """Return the journal that a version of SQLite keeps safely.

    >>> journal_mode((3, 40, 1)), journal_mode((3, 44, 6)), journal_mode((3, 51, 3))
    ('TRUNCATE', 'WAL', 'WAL')
    """
    backported = any(version[:2] == port[:2] and version >= port for port in WAL_BACKPORTS)
    return "WAL" if version >= WAL_SAFE_FROM or backported else "TRUNCATE"


SQLITE_VERSION: str = sqlite_library.sqlite_version
JOURNAL = journal_mode(sqlite_library.sqlite_version_info)


def is_embedded(database_url: str | URL) -> bool:
    """Tell whether a programme is kept in a file."""
    return make_url(database_url).get_backend_name() == "sqlite"


def file_of(database_url: str) -> Path:
    """Return the file of an embedded database."""
    return Path(make_url(database_url).database or "")


def files_of(database: Path) -> list[Path]:
    """Return a database's file and those that belong to it, whether they exist or not."""
    return [database.with_name(f"{database.name}{ending}") for ending in ("", *COMPANIONS)]


def engine_for(database_url: str | URL, **options: Any) -> Engine:
    """Return an engine, for a file with the one SQLite that all of this programme uses.

    Two libraries on one file would each follow rules of their own.
    """
    if is_embedded(database_url):
        options["module"] = sqlite_library
    return create_engine(database_url, **options)

"""Make backups while the service runs; each one is opened and verified before it gets its name.

An embedded database is copied by `VACUUM INTO`, which reads one snapshot and never waits for
writers; a server's database is dumped by `pg_dump`. A manifest next to each file has its schema,
the number of rows of each table, and a digest of every season's report, to verify a restore.
"""

import hashlib
import json
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import Connection, NullPool, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DatabaseError, OperationalError
from sqlmodel import Session, col, select

from api.embedded import engine_for, file_of, files_of, is_embedded
from api.models.registry.seasons import Season
from api.schema import is_at_head
from api.services.access.keys import CONSOLE
from api.services.core.cache import use_own_cache
from api.services.operations.exports import season_digest
from api.services.operations.manifests import MANIFESTS, BackupFailed, Manifest, read_manifest

NAME, ENDINGS = "gustbook-{moment:%Y%m%dT%H%M%S%f}Z", {True: ".db", False: ".dump"}
PARTIAL_FILES = "gustbook-*.partial*"
A_DAY_S = 86_400  # longer than any backup takes
#: How long a backup waits for a writer of an embedded database. [s]
PATIENCE_S = 60
FAULTS_SHOWN = 5


def make(database_url: str, folder: Path, keep: int) -> Manifest:
    """Make a backup, verify it, and only then give it its name; delete all but the newest ones."""
    folder.mkdir(parents=True, exist_ok=True)
    embedded, moment = is_embedded(database_url), datetime.now(UTC)
    place = folder / (NAME.format(moment=moment) + ENDINGS[embedded])
    partial = place.with_suffix(".partial")
    try:
        schema, rows, digests = (_copy_file if embedded else _dump)(database_url, partial)
        to_disk(partial)
        manifest = Manifest(
            place.name, moment.isoformat(), partial.stat().st_size, sha256_of(partial), schema,
            rows, digests,
        )  # fmt: skip
        os.replace(partial, place)
    finally:
        for left in files_of(partial):
            left.unlink(missing_ok=True)
    _write(place.with_suffix(".json"), json.dumps(asdict(manifest), indent=1))
    _forget(folder, keep)
    return manifest


Contents = tuple[str | None, dict[str, int], dict[str, str]]


def _copy_file(database_url: str, partial: Path) -> Contents:
    """Copy an embedded database, and return the contents of the copy."""
    if not file_of(database_url).exists():
        raise BackupFailed(f"there is no database at {file_of(database_url)}")
    with connected(database_url) as connection:
        connection.exec_driver_sql("VACUUM INTO ?", (str(partial),))
    return inspect_backup(f"sqlite:///{partial}")


def _dump(database_url: str, partial: Path) -> Contents:
    """Dump a server's database from a snapshot, and return the contents of the snapshot."""
    with connected(database_url) as connection:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        snapshot = connection.exec_driver_sql("SELECT pg_export_snapshot()").scalar_one()
        run_program(database_url, "pg_dump", "--format=custom", "--enable-row-security",
                    f"--snapshot={snapshot}", f"--file={partial}")  # fmt: skip
        return _contents(connection)


def inspect_backup(database_url: str) -> Contents:
    """Return the schema, the rows of each table and the seasons' digests; refuse a damaged file."""
    with connected(database_url) as connection:
        if connection.dialect.name == "sqlite":
            _require_undamaged(connection)
        return _contents(connection)


def _require_undamaged(connection: Connection) -> None:
    wrong = faults_of_file(connection)
    if wrong:
        raise BackupFailed(f"the copy is damaged: {'; '.join(wrong)}")


def faults_of_file(connection: Connection) -> list[str]:
    """Return the first faults of an embedded database: of its pages, indexes and foreign keys."""
    try:
        messages = connection.exec_driver_sql(f"PRAGMA integrity_check({FAULTS_SHOWN})").scalars()
        wrong = [str(each) for each in messages if each != "ok"]
        dangling = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchmany(FAULTS_SHOWN)
    except DatabaseError as error:
        return [str(error.orig)]
    return [*wrong, *(f"{row[0]} points at nothing" for row in dangling)][:FAULTS_SHOWN]


def _contents(connection: Connection) -> Contents:
    names = sorted(inspect(connection).get_table_names())
    quote = connection.dialect.identifier_preparer.quote
    rows = {
        name: connection.execute(text(f"SELECT count(*) FROM {quote(name)}")).scalar_one()
        for name in names
    }
    schema = None
    if "alembic_version" in names:
        schema = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return schema, rows, _digests(connection) if is_at_head(connection) else {}


def _digests(connection: Connection) -> dict[str, str]:
    """Return the digest of each season's report."""
    with Session(connection) as db:
        use_own_cache(db)
        seasons = db.scalars(select(Season.id).order_by(col(Season.id))).all()
        return {season_id: season_digest(db, CONSOLE, season_id) for season_id in seasons}


@contextmanager
def connected(database_url: str) -> Iterator[Connection]:
    """Connect once, waiting for a writer of the file; raise database errors as `BackupFailed`."""
    options = {"connect_args": {"timeout": PATIENCE_S}} if is_embedded(database_url) else {}
    engine = engine_for(database_url, poolclass=NullPool, **options)
    try:
        with engine.connect() as connection:
            yield connection
    except OperationalError as error:
        raise BackupFailed(str(error.orig).strip().splitlines()[0]) from error
    except DatabaseError as error:
        raise BackupFailed(f"the file is damaged: {error.orig}") from error
    finally:
        engine.dispose()


def run_program(database_url: str, *command: str) -> None:
    """Run a program of PostgreSQL; the password is neither in its arguments nor in messages."""
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, check=False,
            env=os.environ | _environment(database_url),
        )  # fmt: skip
    except FileNotFoundError as error:
        raise BackupFailed(f"{command[0]} is not installed: it comes with PostgreSQL") from error
    if done.returncode != 0:
        errors = done.stderr.strip().splitlines()
        raise BackupFailed(f"{command[0]}: {errors[-1] if errors else 'failed'}")


def _environment(database_url: str) -> dict[str, str]:
    """Return the environment variables that PostgreSQL's programs use to connect."""
    url = make_url(database_url)
    named = {
        "PGHOST": url.host or url.query.get("host"),
        "PGPORT": url.port or url.query.get("port"),
        "PGUSER": url.username,
        "PGPASSWORD": url.password,
        "PGDATABASE": url.database,
    }
    return {name: str(value) for name, value in named.items() if value}


def sha256_of(file: Path) -> str:
    """Return the digest of a file."""
    with file.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def to_disk(file: Path) -> None:
    """Wait until a file is on the disk."""
    with file.open("rb") as opened:
        os.fsync(opened.fileno())


def _write(file: Path, words: str) -> None:
    partial = file.with_suffix(".json.partial")
    partial.write_text(words, encoding="utf-8")
    to_disk(partial)
    os.replace(partial, file)


def _forget(folder: Path, keep: int) -> None:
    """Remove all but the newest backups, and the partial files of killed ones."""
    for left in folder.glob(PARTIAL_FILES):
        if datetime.now(UTC).timestamp() - left.stat().st_mtime > A_DAY_S:
            left.unlink(missing_ok=True)
    for old in sorted(folder.glob(MANIFESTS), reverse=True)[keep:]:
        manifest = read_manifest(old)
        (folder / manifest.file).unlink(missing_ok=True)
        old.unlink()

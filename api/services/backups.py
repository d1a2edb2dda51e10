"""Backups: made beside a busy service, opened and counted before they count as made, and restored.

An embedded database is copied by `VACUUM INTO`, which reads one moment and never waits for writers;
a server's by `pg_dump`. Beside each file stands what was found in it: the schema, the rows of each
table, and a digest of every season's report, so that a restore can be held against it.
"""

import hashlib
import json
import os
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from sqlalchemy import Connection, NullPool, create_engine, inspect, text
from sqlalchemy.engine import make_url
from sqlmodel import Session, col, select

from api.db import is_embedded
from api.models.seasons import Season
from api.schema import HEAD, is_at_head
from api.services.cache import keep_apart
from api.services.exports import season_digest
from api.services.keys import CONSOLE

NAME, ENDINGS = "gustbook-{moment:%Y%m%dT%H%M%S%f}Z", {True: ".db", False: ".dump"}
MADE = "gustbook-*.json"
HOUR = timedelta(hours=1)


class BackupFailed(Exception):
    """A backup that could not be made, does not hold, or cannot be put back."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """What was found in a backup when it was made."""

    file: str
    made_at: str
    size_bytes: int
    sha256: str
    schema: str | None
    rows: dict[str, int]
    #: By season; empty where the schema was older than this code, which then cannot report on it.
    digests: dict[str, str]


def make(database_url: str, folder: Path, keep: int) -> Manifest:
    """Make a backup, look into it, and only then give it its name; keep the newest ones."""
    folder.mkdir(parents=True, exist_ok=True)
    embedded, moment = is_embedded(database_url), datetime.now(UTC)
    place = folder / (NAME.format(moment=moment) + ENDINGS[embedded])
    partial = place.with_suffix(".partial")
    try:
        schema, rows, digests = (_copy_file if embedded else _dump)(database_url, partial)
        _to_disk(partial)
        manifest = Manifest(
            place.name, moment.isoformat(), partial.stat().st_size, sha256_of(partial), schema,
            rows, digests,
        )  # fmt: skip
        os.replace(partial, place)
    finally:
        partial.unlink(missing_ok=True)
    _write(place.with_suffix(".json"), json.dumps(asdict(manifest), indent=1))
    _forget(folder, keep)
    return manifest


Found = tuple[str | None, dict[str, int], dict[str, str]]


def _copy_file(database_url: str, partial: Path) -> Found:
    """Copy an embedded database, and say what stands in the copy."""
    source = make_url(database_url).database or ""
    if not Path(source).exists():
        raise BackupFailed(f"there is no database at {source}")
    with _connected(database_url) as connection:
        connection.exec_driver_sql("VACUUM INTO ?", (str(partial),))
    return look_into(f"sqlite:///{partial}")


def _dump(database_url: str, partial: Path) -> Found:
    """Dump a server's database at the moment of a snapshot, and say what stood in that moment."""
    with _connected(database_url) as connection:
        connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
        snapshot = connection.exec_driver_sql("SELECT pg_export_snapshot()").scalar_one()
        _run(database_url, "pg_dump", "--format=custom", "--enable-row-security",
             f"--snapshot={snapshot}", f"--file={partial}")  # fmt: skip
        return _found(connection)


def look_into(database_url: str) -> Found:
    """Return the schema, the rows of each table and the seasons' digests; refuse a damaged file."""
    with _connected(database_url) as connection:
        if connection.dialect.name == "sqlite":
            _require_whole(connection)
        return _found(connection)


def _require_whole(connection: Connection) -> None:
    wrong = [
        *(row[0] for row in connection.exec_driver_sql("PRAGMA integrity_check") if row[0] != "ok"),
        *(f"{row[0]} points at nothing" for row in
          connection.exec_driver_sql("PRAGMA foreign_key_check")),
    ]  # fmt: skip
    if wrong:
        raise BackupFailed(f"the copy is damaged: {'; '.join(map(str, wrong[:5]))}")


def _found(connection: Connection) -> Found:
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
    """Return what tells each season's report from any other."""
    with Session(connection) as db:
        keep_apart(db)
        seasons = db.scalars(select(Season.id).order_by(col(Season.id))).all()
        return {season_id: season_digest(db, CONSOLE, season_id) for season_id in seasons}


@contextmanager
def _connected(database_url: str) -> Iterator[Connection]:
    engine = create_engine(database_url, poolclass=NullPool)
    with engine.connect() as connection:
        yield connection
    engine.dispose()


def _run(database_url: str, *command: str) -> None:
    """Run a program of PostgreSQL's; the password stands neither in its arguments nor in words."""
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, check=False,
            env=os.environ | _environment(database_url),
        )  # fmt: skip
    except FileNotFoundError as error:
        raise BackupFailed(f"{command[0]} is not installed: it comes with PostgreSQL") from error
    if done.returncode != 0:
        told = done.stderr.strip().splitlines()
        raise BackupFailed(f"{command[0]}: {told[-1] if told else 'failed'}")


def _environment(database_url: str) -> dict[str, str]:
    """Return where a database is, as PostgreSQL's programs read it."""
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


def _to_disk(file: Path) -> None:
    """Wait until a file is on the disk."""
    with file.open("rb") as opened:
        os.fsync(opened.fileno())


def _write(file: Path, words: str) -> None:
    partial = file.with_suffix(".json.partial")
    partial.write_text(words, encoding="utf-8")
    _to_disk(partial)
    os.replace(partial, file)


def _forget(folder: Path, keep: int) -> None:
    """Remove all but the newest backups."""
    for old in sorted(folder.glob(MADE), reverse=True)[keep:]:
        manifest = read_manifest(old)
        (folder / manifest.file).unlink(missing_ok=True)
        old.unlink()


def read_manifest(file: Path) -> Manifest:
    """Return what stands beside a backup."""
    try:
        return Manifest(**json.loads(file.with_suffix(".json").read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError) as error:
        raise BackupFailed(f"nothing tells what is in {file.name}: its .json is missing") from error


def newest(folder: Path) -> Manifest | None:
    """Return the newest backup of a folder, if there is one."""
    made = sorted(folder.glob(MADE))
    return read_manifest(made[-1]) if made else None


def age_hours(folder: Path, now: datetime) -> float | None:
    """Return how old the newest backup of a folder is."""
    last = newest(folder)
    return None if last is None else (now - datetime.fromisoformat(last.made_at)) / HOUR


# --- putting back ---------------------------------------------------------------------------


def restore(file: Path, database_url: str) -> Manifest:
    """Put a backup into a place where no database is yet, and hold it against what it was."""
    manifest = read_manifest(file)
    if sha256_of(file) != manifest.sha256:
        raise BackupFailed(f"{file.name} is not the file that was made: its digest differs")
    _require_empty(database_url)
    put: Callable[[Path, str], None] = _put_file if is_embedded(database_url) else _put_dump
    put(file, database_url)
    require_same(manifest, look_into(database_url))
    return manifest


def _require_empty(database_url: str) -> None:
    """Refuse to write over a database: whoever restores moves the old one aside first."""
    if is_embedded(database_url):
        there = Path(make_url(database_url).database or "")
        if there.exists():
            raise BackupFailed(f"{there} exists: stop the service and move it aside first")
        return
    with _connected(database_url) as connection:
        if inspect(connection).get_table_names():
            raise BackupFailed("that database has tables: restore into an empty one")


def _put_file(file: Path, database_url: str) -> None:
    there = Path(make_url(database_url).database or "")
    there.parent.mkdir(parents=True, exist_ok=True)
    partial = there.with_name(f"{there.name}.partial")
    partial.write_bytes(file.read_bytes())
    _to_disk(partial)
    os.replace(partial, there)


def _put_dump(file: Path, database_url: str) -> None:
    name = make_url(database_url).database or ""
    _run(database_url, "pg_restore", "--exit-on-error", "--no-owner", f"--dbname={name}", str(file))


def require_same(manifest: Manifest, found: Found) -> None:
    """Refuse a restored database that is not what was backed up."""
    schema, rows, digests = found
    if (schema, rows) != (manifest.schema, manifest.rows):
        raise BackupFailed("what was restored has other rows or another schema than the backup")
    if manifest.schema == HEAD and digests != manifest.digests:
        raise BackupFailed("the restored seasons' reports are not those of the backup")

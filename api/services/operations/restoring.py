"""Putting a backup back: into an empty place, or in place of a database that is moved aside.

A crash leaves a journal beside a database, which SQLite plays back into whatever file has the
database's name. So a database and its companions are moved together, and nothing is put in a place
where a companion is left. If it is interrupted at any step, it can be run again.
"""

import os
from datetime import UTC, datetime
from pathlib import Path

from sqlalchemy import NullPool, inspect
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DatabaseError

from api.embedded import engine_for, file_of, files_of, is_embedded
from api.schema import HEAD
from api.services.operations.backups import (
    BackupFailed,
    Found,
    Manifest,
    connected,
    look_into,
    read_manifest,
    run_program,
    sha256_of,
    to_disk,
)


def restore(file: Path, database_url: str, *, replace: bool = False) -> Manifest:
    """Put a backup where no database is yet, and hold it against what it was.

    With `replace`, the database that is there is moved aside first, with all of its files. Raise
    `BackupFailed` where the file is not the one that was made, where something is in the way, or
    where the database is in use.
    """
    manifest = read_manifest(file)
    if sha256_of(file) != manifest.sha256:
        raise BackupFailed(f"{file.name} is not the file that was made: its digest differs")
    if is_embedded(database_url):
        _restore_file(file, manifest, database_url, replace=replace)
        return manifest
    _require_empty(database_url)
    name = make_url(database_url).database or ""
    run_program(
        database_url, "pg_restore", "--exit-on-error", "--no-owner", f"--dbname={name}", str(file)
    )
    require_same(manifest, look_into(database_url))
    return manifest


def _require_empty(database_url: str) -> None:
    """Refuse to write over the tables of a server."""
    with connected(database_url) as connection:
        if inspect(connection).get_table_names():
            raise BackupFailed("that database has tables: restore into an empty one")


def _restore_file(file: Path, manifest: Manifest, database_url: str, *, replace: bool) -> None:
    there = file_of(database_url)
    in_the_way = [each.name for each in files_of(there) if each.exists()]
    if in_the_way and not replace:
        raise BackupFailed(
            f"{', '.join(in_the_way)} already in {there.parent}: stop the service and say "
            "--replace, which moves them aside"
        )
    if there.exists():
        _require_unused(database_url)
    there.parent.mkdir(parents=True, exist_ok=True)
    copy = there.with_name(f"{there.name}.restoring")
    _copy(file, copy)
    require_same(manifest, look_into(f"sqlite:///{copy}"))
    aside = _move_aside(there)
    os.replace(copy, there)
    _folder_to_disk(there.parent)
    if aside is not None:
        os.replace(aside, _aside_for_good(there))


def _require_unused(database_url: str) -> None:
    """Refuse while a service has the file open; a damaged file may go."""
    engine = engine_for(database_url, poolclass=NullPool, connect_args={"timeout": 0})
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql("PRAGMA locking_mode = EXCLUSIVE")
            connection.exec_driver_sql("SELECT count(*) FROM sqlite_master")
    except DatabaseError as error:
        if "locked" in str(error.orig):
            raise BackupFailed("the database is in use: stop the service first") from error
    finally:
        engine.dispose()


def _copy(file: Path, copy: Path) -> None:
    """Copy a backup; what an attempt before left under this name goes first."""
    for left in files_of(copy):
        left.unlink(missing_ok=True)
    copy.write_bytes(file.read_bytes())
    to_disk(copy)


def _move_aside(there: Path) -> Path | None:
    """Move a database and its companions into one folder; return it if there was anything.

    The folder has one name until all is done, so that the next attempt goes on with one that broke
    off, and never parts a journal from its database.
    """
    moving = there.with_name(f"{there.name}.moving")
    if there.exists() and (moving / there.name).exists():
        os.replace(moving, _aside_for_good(there))  # the attempt before was over but for this
    found = [each for each in files_of(there) if each.exists()]
    if not found:
        return moving if moving.exists() else None
    moving.mkdir(exist_ok=True)
    for each in found:
        os.replace(each, moving / each.name)
    _folder_to_disk(moving)
    _folder_to_disk(there.parent)
    return moving


def _aside_for_good(there: Path) -> Path:
    return there.with_name(f"{there.name}.replaced-{datetime.now(UTC):%Y%m%dT%H%M%S%f}Z")


def _folder_to_disk(folder: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def require_same(manifest: Manifest, found: Found) -> None:
    """Refuse a restored database that is not what was backed up."""
    schema, rows, digests = found
    if (schema, rows) != (manifest.schema, manifest.rows):
        raise BackupFailed("what was restored has other rows or another schema than the backup")
    if manifest.schema == HEAD and digests != manifest.digests:
        raise BackupFailed("the restored seasons' reports are not those of the backup")

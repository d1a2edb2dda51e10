"""Restore a backup: into an empty place, or in place of a database that is moved aside.

A crash leaves a journal next to a database, which SQLite applies to any file with the database's
name. So a database and its companions are moved together, and a backup is never restored next to a
remaining companion. If the restore is interrupted at any step, it can be run again.
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
    Contents,
    connected,
    inspect_backup,
    run_program,
    sha256_of,
    to_disk,
)
from api.services.operations.manifests import BackupFailed, Manifest, read_manifest


def restore(file: Path, database_url: str, *, replace: bool = False) -> Manifest:
    """Restore a backup to a place without a database, and compare it with its manifest.

    With `replace`, an existing database is moved aside first, with all of its files. Raise
    `BackupFailed` if the file is not the original one, if other files are in the way, or if the
    database is in use.
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
    require_same(manifest, inspect_backup(database_url))
    return manifest


def _require_empty(database_url: str) -> None:
    """Refuse to overwrite tables of a server."""
    with connected(database_url) as connection:
        if inspect(connection).get_table_names():
            raise BackupFailed("that database has tables: restore into an empty one")


def _restore_file(file: Path, manifest: Manifest, database_url: str, *, replace: bool) -> None:
    target = file_of(database_url)
    in_the_way = [each.name for each in files_of(target) if each.exists()]
    if in_the_way and not replace:
        raise BackupFailed(
            f"{', '.join(in_the_way)} already in {target.parent}: stop the service and say "
            "--replace, which moves them aside"
        )
    if target.exists():
        _require_unused(database_url)
    target.parent.mkdir(parents=True, exist_ok=True)
    copy = target.with_name(f"{target.name}.restoring")
    _copy(file, copy)
    require_same(manifest, inspect_backup(f"sqlite:///{copy}"))
    aside = _move_aside(target)
    os.replace(copy, target)
    _folder_to_disk(target.parent)
    if aside is not None:
        os.replace(aside, _aside_for_good(target))


def _require_unused(database_url: str) -> None:
    """Refuse if a service has the file open; a damaged file may be replaced."""
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
    """Copy a backup; first delete the remains of an earlier attempt."""
    for left in files_of(copy):
        left.unlink(missing_ok=True)
    copy.write_bytes(file.read_bytes())
    to_disk(copy)


def _move_aside(target: Path) -> Path | None:
    """Move a database and its companions into one folder; return it, or None without any file.

    The folder has a fixed name until the restore is done, so that another attempt continues an
    interrupted one, and never separates a journal from its database.
    """
    moving = target.with_name(f"{target.name}.moving")
    if target.exists() and (moving / target.name).exists():
        os.replace(
            moving, _aside_for_good(target)
        )  # only this step of the earlier attempt was missing
    existing = [each for each in files_of(target) if each.exists()]
    if not existing:
        return moving if moving.exists() else None
    moving.mkdir(exist_ok=True)
    for each in existing:
        os.replace(each, moving / each.name)
    _folder_to_disk(moving)
    _folder_to_disk(target.parent)
    return moving


def _aside_for_good(target: Path) -> Path:
    return target.with_name(f"{target.name}.replaced-{datetime.now(UTC):%Y%m%dT%H%M%S%f}Z")


def _folder_to_disk(folder: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def require_same(manifest: Manifest, contents: Contents) -> None:
    """Refuse a restored database that differs from its backup."""
    schema, rows, digests = contents
    if (schema, rows) != (manifest.schema, manifest.rows):
        raise BackupFailed("what was restored has other rows or another schema than the backup")
    if manifest.schema == HEAD and digests != manifest.digests:
        raise BackupFailed("the restored seasons' reports are not those of the backup")

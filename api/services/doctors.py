"""What an operator wants to know of a programme: whether it is whole, kept, and in time."""

import shutil
import sqlite3
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy.engine import make_url
from sqlmodel import Session

from api.db import is_embedded, journal_mode
from api.schema import is_at_head
from api.services import audit, backups, erasing
from api.settings import Settings


@dataclass(frozen=True, slots=True)
class Found:
    """What was looked at, each with what was seen, and whether all of it is well."""

    told: list[tuple[str, str]]
    is_well: bool


def look(db: Session, settings: Settings, now: datetime, *, seals: bool) -> Found:
    """Look at a programme; at the seals of its record only if asked, since that reads all of it."""
    url, at_head = make_url(settings.database_url), is_at_head(db.connection())
    told = [("database", url.render_as_string(hide_password=True)),
            ("schema", "newest" if at_head else "not the newest: run migrate")]  # fmt: skip
    if is_embedded(settings.database_url):
        told += _of_file(Path(url.database or "."))
    told += [("clock", _clock(audit.newest_moment(db) if at_head else None, now)),
             ("backup", _newest_backup(settings, now)),
             ("retention", _retention(db, settings, now, at_head=at_head))]  # fmt: skip
    broken = list(audit.broken_seals(db)) if seals and at_head else []
    if seals:
        told.append(("record", "BROKEN" if broken else "seals hold"))
    return Found(told + [("", words) for words in broken], at_head and not broken)


def _of_file(file: Path) -> list[tuple[str, str]]:
    """Say which SQLite keeps an embedded database, and how much room it has."""
    version = sqlite3.sqlite_version
    free = shutil.disk_usage(file.parent).free
    return [("sqlite", f"{version}, journal {journal_mode(sqlite3.sqlite_version_info)}"),
            ("disk free", f"{free / 1e9:.1f} GB")]  # fmt: skip


def _clock(newest: datetime | None, now: datetime) -> str:
    """Say what time it is here, and whether the record was written later than that."""
    told = f"{now:%Y-%m-%d %H:%M:%S} UTC"
    if newest is not None and newest > now:
        behind = (newest - now).total_seconds()
        return f"{told}, {behind:.0f} s before the newest entry of the record: was it set back?"
    return told


def _newest_backup(settings: Settings, now: datetime) -> str:
    age = backups.age_hours(Path(settings.backup_folder), now)
    return "none yet: run backup" if age is None else f"{age:.0f} h old"


def _retention(db: Session, settings: Settings, now: datetime, *, at_head: bool) -> str:
    due = erasing.due_seasons(db, now.date(), settings.retention_days) if at_head else []
    return f"{len(due)} seasons kept long enough: see purge" if due else "nothing is due to go"

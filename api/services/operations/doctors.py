"""Diagnose a programme for its operator: database, backups, clock and retention."""

import shutil
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy.engine import make_url
from sqlmodel import Session

from api.embedded import JOURNAL, SQLITE_VERSION, file_of, is_embedded
from api.schema import is_at_head
from api.services.core import audit
from api.services.operations import backups, due_rebuilds, erasing, manifests
from api.settings import Settings


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The results of a diagnosis, line by line, and whether all is well."""

    lines: list[tuple[str, str]]
    is_well: bool


def diagnose(db: Session, settings: Settings, now: datetime, *, seals: bool) -> Diagnosis:
    """Diagnose a programme; check the seals of the audit log only on request, as it is slow."""
    url = make_url(settings.database_url).render_as_string(hide_password=True)
    if is_embedded(settings.database_url):
        wrong = backups.faults_of_file(db.connection())
        if wrong:
            restoring = "restore a backup: gustbook restore FILE --replace"
            return Diagnosis([("database", url), ("file", f"DAMAGED: {'; '.join(wrong)}"),
                          ("", f"stop the service and {restoring}")], is_well=False)  # fmt: skip
    at_head = is_at_head(db.connection())
    due = due_rebuilds.due_seasons(db) if at_head else []
    lines = [("database", url),
            ("schema", "newest" if at_head else "not the newest: run migrate")]  # fmt: skip
    if due:
        lines.append(("rebuild", f"{len(due)} seasons are due: run migrate"))
    if is_embedded(settings.database_url):
        lines += _of_file(file_of(settings.database_url))
    lines += [("clock", _clock(audit.newest_moment(db) if at_head else None, now)),
             ("backup", _newest_backup(settings, now)),
             ("retention", _retention(db, settings, now, at_head=at_head))]  # fmt: skip
    broken = list(audit.broken_seals(db)) if seals and at_head else []
    if seals:
        lines.append(("record", "BROKEN" if broken else "seals hold"))
    is_well = at_head and not due and not broken
    return Diagnosis(lines + [("", words) for words in broken], is_well)


def _of_file(file: Path) -> list[tuple[str, str]]:
    """Return lines about an embedded database: its state, its SQLite version, its access rights."""
    free = shutil.disk_usage(file.parent).free
    is_open = file.stat().st_mode & 0o077
    return [("file", "whole: pages, indexes and foreign keys agree"),
            ("sqlite", f"{SQLITE_VERSION}, journal {JOURNAL}"),
            ("access", f"others may read it: chmod 600 {file}" if is_open else "the owner alone"),
            ("disk free", f"{free / 1e9:.1f} GB")]  # fmt: skip


def _clock(newest: datetime | None, now: datetime) -> str:
    """Return the time of this machine, and whether the audit log has a later entry."""
    text = f"{now:%Y-%m-%d %H:%M:%S} UTC"
    if newest is not None and newest > now:
        behind = (newest - now).total_seconds()
        return f"{text}, {behind:.0f} s before the newest entry of the record: was it set back?"
    return text


def _newest_backup(settings: Settings, now: datetime) -> str:
    age = manifests.age_hours(Path(settings.backup_folder), now)
    return "none yet: run backup" if age is None else f"{age:.0f} h old"


def _retention(db: Session, settings: Settings, now: datetime, *, at_head: bool) -> str:
    due = erasing.due_seasons(db, now.date(), settings.retention_days) if at_head else []
    return f"{len(due)} seasons kept long enough: see purge" if due else "nothing is due to go"

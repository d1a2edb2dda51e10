"""The manifests of backups: what each one contains, and how old the newest one is."""

import json
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

MANIFESTS = "gustbook-*.json"
HOUR = timedelta(hours=1)


class BackupFailed(Exception):
    """A backup that could not be made, is damaged, or cannot be restored."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """The contents of a backup when it was made."""

    file: str
    made_at: str
    size_bytes: int
    sha256: str
    schema: str | None
    rows: dict[str, int]
    #: By season; empty if the schema is older than this code, which then cannot make reports.
    digests: dict[str, str]


def read_manifest(file: Path) -> Manifest:
    """Return the manifest of a backup."""
    try:
        return Manifest(**json.loads(file.with_suffix(".json").read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError) as error:
        words = f"nothing says what is in {file.name}: its .json is missing or cannot be read"
        raise BackupFailed(words) from error


def newest(folder: Path) -> Manifest | None:
    """Return the newest backup of a folder with a readable manifest, or None."""
    for file in sorted(folder.glob(MANIFESTS), reverse=True):
        with suppress(BackupFailed):
            return read_manifest(file)
    return None


def age_hours(folder: Path, now: datetime) -> float | None:
    """Return the age of the newest backup of a folder in hours, or None."""
    last = newest(folder)
    return None if last is None else (now - datetime.fromisoformat(last.made_at)) / HOUR

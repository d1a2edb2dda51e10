"""Read which seasons are still to be rebuilt; `rebuilding` does it."""

from sqlmodel import Session, select

from api.db import Database
from api.models.operations.rebuilds import RebuildDue


def due_seasons(db: Session) -> list[str]:
    """Return the ids of seasons that are still to be rebuilt."""
    return sorted(db.scalars(select(RebuildDue.season_id)))


def has_due_seasons(database: Database) -> bool:
    """Tell whether any season is still to be rebuilt."""
    with database.reading() as db:
        return bool(due_seasons(db))

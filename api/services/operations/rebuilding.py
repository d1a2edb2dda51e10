"""Compute a programme's cached results again from its facts, season by season.

A migration notes each season as due in its own transaction. If the service is killed before a
season is rebuilt, the note stays and the next start continues.
"""

from sqlmodel import col, delete, select

from api.db import Database
from api.models.operations.rebuilds import RebuildDue
from api.models.registry.seasons import Season
from api.services.core import revisions
from api.services.measurements import rechecks
from api.services.operations.due_rebuilds import due_seasons


def rebuild_due(database: Database) -> int:
    """Rebuild the seasons that are due; return their number."""
    with database.reading() as db:
        seasons = due_seasons(db)
    return _rebuild(database, seasons)


def rebuild_all(database: Database) -> int:
    """Rebuild every season; return their number."""
    with database.reading() as db:
        seasons = sorted(db.scalars(select(Season.id)))
    return _rebuild(database, seasons)


def _rebuild(database: Database, seasons: list[str]) -> int:
    for season_id in seasons:
        with database.unit_of_work() as db:
            if db.get(Season, season_id) is not None:
                revisions.raise_season(db, season_id)  # first, so that nobody writes meanwhile
                rechecks.recheck_season(db, season_id)
            db.execute(delete(RebuildDue).where(col(RebuildDue.season_id) == season_id))
    return len(seasons)

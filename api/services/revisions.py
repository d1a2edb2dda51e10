"""A season's revision: raised, in the same transaction, by every write that can move a report."""

from sqlmodel import Session, col, update

from api.models.seasons import Season


def raise_season(db: Session, *season_ids: str) -> None:
    """Raise the revision of some seasons; on a server this also makes their writers take turns."""
    for season_id in sorted(set(season_ids)):
        db.execute(
            update(Season).where(col(Season.id) == season_id).values(revision=Season.revision + 1),
            execution_options={"synchronize_session": "fetch"},
        )


def raise_all(db: Session) -> None:
    """Raise the revision of every season, for facts that any of them may rest on."""
    db.execute(
        update(Season).values(revision=Season.revision + 1),
        execution_options={"synchronize_session": "fetch"},
    )

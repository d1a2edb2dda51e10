"""A season's revision: raised, in the same transaction, by every write that can move a report."""

from collections import Counter

from sqlmodel import Session, col, select, update

from api.models.registry.seasons import Season


def raise_season(db: Session, *season_ids: str) -> None:
    """Raise the revision of some seasons, each as often as it is named.

    This, or `lock`, comes before anything else of theirs is locked. On a server either makes the
    writers of a season take turns, in one order for all.
    """
    for season_id, often in sorted(Counter(season_ids).items()):
        raised = Season.revision + often
        db.execute(
            update(Season).where(col(Season.id) == season_id).values(revision=raised),
            execution_options={"synchronize_session": "fetch"},
        )


def raise_all(db: Session) -> None:
    """Raise the revision of every season, for facts that any of them may rest on."""
    raise_season(db, *db.scalars(select(Season.id)))


def lock(db: Session, *season_ids: str) -> None:
    """Make writers of some seasons take turns until this transaction ends; raises nothing.

    A file has one writer at a time anyway.
    """
    if db.get_bind().dialect.name == "sqlite":
        return
    wanted = select(Season.id).where(col(Season.id).in_(season_ids)).order_by(col(Season.id))
    db.execute(wanted.with_for_update(key_share=True))


def lock_all(db: Session) -> None:
    """Make writers of all seasons take turns until this transaction ends; raises nothing."""
    lock(db, *db.scalars(select(Season.id)))

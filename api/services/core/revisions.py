"""Raise a season's revision in the transaction of every write that can change a report."""

from collections import Counter

from sqlmodel import Session, col, select, update

from api.models.registry.seasons import Season
from api.services.core.changes import note_raised


def raise_season(db: Session, *season_ids: str, only_trials: bool = False) -> None:
    """Raise the revisions of seasons, each as often as it is named.

    Call this or `lock` before locking any other row of the seasons. On a database server both make
    the writers of a season take turns, in the same order everywhere. With `only_trials` nothing
    changes but trials at benches that are checked again in this transaction.
    """
    note_raised(db, season_ids, only_trials=only_trials)
    for season_id, often in sorted(Counter(season_ids).items()):
        raised = Season.revision + often
        db.execute(
            update(Season).where(col(Season.id) == season_id).values(revision=raised),
            execution_options={"synchronize_session": "fetch"},
        )


def raise_all(db: Session) -> None:
    """Raise the revision of every season, for facts that any of them may depend on."""
    raise_season(db, *db.scalars(select(Season.id)))


def lock(db: Session, *season_ids: str) -> None:
    """Make writers of seasons take turns until this transaction ends; raise no revision.

    SQLite has one writer at a time anyway.
    """
    if db.get_bind().dialect.name == "sqlite":
        return
    wanted = select(Season.id).where(col(Season.id).in_(season_ids)).order_by(col(Season.id))
    db.execute(wanted.with_for_update(key_share=True))


def lock_all(db: Session) -> None:
    """Make writers of all seasons take turns until this transaction ends; raise no revision."""
    lock(db, *db.scalars(select(Season.id)))

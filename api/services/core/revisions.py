"""Raise a season's revision in the transaction of every write that can change a report.

Writers of a season take turns. Those that store new trials share it, and take turns by school: they
raise the revision last, so that schools wait for each other only from there to the commit.
"""

from collections import Counter
from collections.abc import Collection

from sqlmodel import Session, col, select, update

from api.models.registry.seasons import Season
from api.services.core import turns
from api.services.core.changes import note_raised

MAY_SHARE, SHARED = "may share seasons", "shared seasons"


class SeasonIsShared(Exception):
    """A transaction that shares a season needs it alone: it has to begin again."""


def raise_season(db: Session, *season_ids: str, only_trials: bool = False) -> dict[str, int]:
    """Raise the revisions of seasons, each as often as it is named; return them.

    Call this or `lock` before locking any other row of the seasons, or `lock_schools` first and
    this last. With `only_trials` nothing changes but trials at benches that are checked again in
    this transaction.
    """
    lock(db, *set(season_ids).difference(db.info.get(SHARED, ())))
    raised = {}
    for season_id, often in sorted(Counter(season_ids).items()):
        # A season is changed by a change of its own facts, not by a new trial.
        season = update(Season).where(col(Season.id) == season_id)
        season = season.values(updated_at=Season.updated_at)
        revision = db.scalar(
            season.values(revision=Season.revision + often).returning(col(Season.revision)),
            execution_options={"synchronize_session": "fetch"},
        )
        if revision is not None:
            note_raised(db, season_id, revision - often, revision, only_trials=only_trials)
            raised[season_id] = revision
    return raised


def raise_all(db: Session) -> None:
    """Raise the revision of every season, for facts that any of them may depend on."""
    raise_season(db, *db.scalars(select(Season.id)))


def lock(db: Session, *season_ids: str) -> None:
    """Make writers of seasons take turns until this transaction ends; raise no revision."""
    if season_ids:
        turns.take(db, map(_turn_of, season_ids))


def lock_all(db: Session) -> None:
    """Make writers of all seasons take turns until this transaction ends; raise no revision."""
    lock(db, *db.scalars(select(Season.id)))


def share_seasons(db: Session) -> None:
    """Let a transaction lock schools only; its caller begins again after `SeasonIsShared`."""
    db.info[MAY_SHARE] = True


def lock_schools(db: Session, season_ids: Collection[str], school_ids: Collection[str]) -> None:
    """Make writers of schools in seasons take turns, if this transaction may share seasons.

    Otherwise lock the seasons.
    """
    if not db.info.get(MAY_SHARE):
        lock(db, *season_ids)
    elif season_ids:
        turns.take(db, map(_turn_of, season_ids), shared=True)
        turns.take(db, (f"school {each}" for each in school_ids))
        db.info[SHARED] = frozenset(season_ids)


def lock_whole(db: Session, season_id: str) -> None:
    """Lock a season of which other schools' results change; raise `SeasonIsShared` if it is.

    Waiting could block two transactions that share it and need it alone.
    """
    if season_id in db.info.get(SHARED, ()) and not turns.try_alone(db, _turn_of(season_id)):
        raise SeasonIsShared


def _turn_of(season_id: str) -> str:
    return f"season {season_id}"

"""Decide which trials a key sees: its own as they are now, others' as last published.

Figures on a scale that all schools share depend on each school's trials. Comparing them before and
after one trial of another school would reveal that trial. So a key that does not reach all schools
sees the others' trials as of one moment, the same for all keys. This moment changes only when
enough trials have changed to hide each single one. The key's own trials always count at once.

With an embedded database, a restart publishes the current trials.
"""

from collections.abc import Hashable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session

from api.models.registry.seasons import Season
from api.services.core.cache import PUBLISHED, cache_of
from api.services.core.changes import changes_since, facts_revision
from api.services.core.scope import Caller
from api.services.measurements.frames import Array
from api.services.measurements.season_trials import (
    LARGE_SEASON,
    SeasonTrials,
    combine,
    season_trials,
)
from api.services.publishing import choosing, publications
from api.services.publishing.publications import Publication, without_erased


@dataclass(frozen=True, slots=True)
class VisibleTrials:
    """The trials that an answer may depend on.

    If others' trials are not the current ones, `as_of` is their moment, and `view` distinguishes
    these trials from other views: keys whose own trials are as published share one.
    """

    trials: SeasonTrials
    view: Hashable = None
    as_of: datetime | None = None
    #: The revision that these trials are of; None is the current one.
    revision: int | None = None
    #: The view of almost the same trials, whose fit is a good beginning for theirs.
    nearest_view: Hashable = None


def visible_trials(
    db: Session, caller: Caller, season: Season, until: datetime | None = None
) -> VisibleTrials:
    """Return a season's trials as a key sees them, or those of sessions before a moment."""
    own = caller.sees_unpublished_of
    if own is None:
        return VisibleTrials(season_trials(db, season, until))
    latest = choosing.latest_for_now(db, season)
    if latest is not None and not _has_own_since(db, own, season, latest):
        return _as_published(db, season, latest, until)
    current = season_trials(db, season)
    shown, is_large = choosing.shown_publication(db, season, current), len(current) >= LARGE_SEASON
    if shown is None and is_large:
        shown = publications.shelf_of(db, season).last()  # it has the same trials
    if shown is None:
        return VisibleTrials(season_trials(db, season, until))
    moved = choosing.moved_since(db, season, shown, current)
    if not moved.inside(own) and (is_large or moved.outside(own)):
        return _as_published(db, season, shown, until)
    if not (is_large or moved.outside(own)):
        return VisibleTrials(season_trials(db, season, until))
    mixed = _until(_mixed(own, current, _published(db, season, shown)), until)
    view = caller.sees, shown.revision, shown.taken_at_s
    return VisibleTrials(mixed, view, _moment_of(shown), nearest_view=PUBLISHED)


def _as_published(
    db: Session, season: Season, shown: Publication, until: datetime | None
) -> VisibleTrials:
    """Return what all keys share whose own trials are as published."""
    trials = _until(_published(db, season, shown), until)
    return VisibleTrials(trials, PUBLISHED, _moment_of(shown), _revision_of(db, season, shown))


def _revision_of(db: Session, season: Season, shown: Publication) -> int:
    """Return when the published trials, or facts that their figures depend on, changed last."""
    return max(shown.revision, facts_revision(db, season))


def _moment_of(shown: Publication) -> datetime:
    return datetime.fromtimestamp(shown.taken_at_s, UTC)


def _has_own_since(db: Session, own: frozenset[str], season: Season, last: Publication) -> bool:
    """Tell whether own trials, or other facts, may have changed since a publication."""
    changes = changes_since(db, season, last.revision)
    return changes is None or any(
        not change.only_trials
        or change.organisations is None
        or not own.isdisjoint(change.organisations)
        for change in changes
    )


def _published(db: Session, season: Season, shown: Publication) -> SeasonTrials:
    """Return the published trials, without those of things that were erased since."""
    cache, subject = cache_of(db), (PUBLISHED, season.id)
    revision = _revision_of(db, season, shown)

    def left() -> Publication:
        return replace(shown, trials=without_erased(db, shown.trials))

    publication: Publication = cache.get_or_make(subject, revision, left)
    if publication.taken_at_s != shown.taken_at_s:  # it was published again at the same revision
        cache.outdate(season.id, revision)
        publication = cache.get_or_make(subject, revision, left)
    return publication.trials


def _until(trials: SeasonTrials, moment: datetime | None) -> SeasonTrials:
    """Return the trials of sessions that began before a moment, or all."""
    if moment is None:
        return trials
    return trials.only(trials.trials["started_at"].astype(float) < moment.timestamp())


def shows_the_same(db: Session, season: Season, older: int) -> bool:
    """Tell whether others' trials are shown as at an older revision."""
    latest = choosing.latest_for_now(db, season)
    if latest is not None:
        return older >= latest.revision
    choosing.shown_publication(db, season, season_trials(db, season))
    shown = publications.shelf_of(db, season).shown
    return older in shown and shown[older] == shown[season.revision]


def outdate_if_due(db: Session, caller: Caller, season: Season) -> None:
    """Have a large season's trials considered for publishing again after the pause.

    Without a further write, the cached answers would otherwise stay as they are.
    """
    shelf, revision = publications.shelf_of(db, season), season.revision
    last, now_s = shelf.last(), datetime.now(UTC).timestamp()
    if last is None or caller.sees_unpublished_of is None or len(last.trials) < LARGE_SEASON:
        return
    may_be_held_back = revision not in (last.revision, shelf.shown.get(revision))
    waited_s = now_s - max(last.taken_at_s, shelf.considered_at_s)
    if may_be_held_back and not 0 <= waited_s < choosing.PAUSE_S:
        shelf.considered_at_s = now_s
        cache_of(db).outdate(season.id, revision)


def view_of(caller: Caller, season: Season) -> Hashable:
    """Return what distinguishes a caller's view of a season, for the subject of a cached answer.

    It has the day, since each night more trials may be published without any write.
    """
    if caller.sees_unpublished_of is None:
        return caller.sees
    return caller.sees, datetime.now(ZoneInfo(season.timezone)).date()


def _are_of(trials: SeasonTrials, schools: frozenset[str]) -> Array:
    return np.isin(trials.trials["organisation_id"].astype(str), sorted(schools))


def _mixed(own: frozenset[str], now: SeasonTrials, published: SeasonTrials) -> SeasonTrials:
    """Return own trials as they are now, and others' as published."""
    return combine([now.only(_are_of(now, own)), published.only(~_are_of(published, own))])

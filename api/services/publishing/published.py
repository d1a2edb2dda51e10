"""Decide which trials a key sees: its own as they are now, others' as last published.

Figures on a scale that all schools share depend on each school's trials. Comparing them before and
after one trial of another school would reveal that trial. So a key that does not reach all schools
sees the others' trials as of one moment, the same for all keys. This moment changes only when
enough trials have changed to hide each single one. The key's own trials always count at once.

With an embedded database, a restart publishes the current trials.
"""

import math
from collections import defaultdict
from collections.abc import Hashable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session, col, or_, select

from analysis.numeric.groups import are_among
from api.many_rows import parts
from api.models.access.keys import AccessKey, KeyOrganisation
from api.models.core.audit import AuditEntry
from api.models.measurements.flags import Flag
from api.models.registry.benches import Bench
from api.models.registry.seasons import Season
from api.models.reporting.shares import Share
from api.models.trials.trials import Trial
from api.services.core.cache import cache_of
from api.services.core.changes import changes_since, facts_revision
from api.services.core.scope import Caller
from api.services.measurements.frames import Array
from api.services.measurements.season_trials import (
    LARGE_SEASON,
    SeasonTrials,
    combine,
    season_trials,
)
from api.services.publishing import publications
from api.services.publishing.moved_trials import (
    Ages,
    Moved,
    facts_of,
    moved_trials,
    part_way,
    states_of,
)
from api.services.publishing.publications import Choice, Publication, Shelf, without_erased

#: A large season is published at most once in this time: fitting it again takes a second. [s]
PAUSE_S = 30.0
_HOSTS = select(Bench.id, Bench.organisation_id)


@dataclass(frozen=True, slots=True)
class VisibleTrials:
    """The trials that an answer may depend on.

    If others' trials are not the current ones, `as_of` is their moment, and `view` distinguishes
    these trials from other views: keys whose own trials are as published share one.
    """

    trials: SeasonTrials
    view: Hashable = None
    as_of: datetime | None = None
    #: Whether these are the published trials, which stay the same while others are written.
    are_published: bool = False


def visible_trials(
    db: Session, caller: Caller, season: Season, until: datetime | None = None
) -> VisibleTrials:
    """Return a season's trials as a key sees them, or those of sessions before a moment."""
    own = caller.sees_unpublished_of
    if own is None:
        return VisibleTrials(season_trials(db, season, until))
    latest = _latest(db, season)
    if latest is not None and not _has_own_since(db, own, season, latest):
        return _as_published(db, season, latest, until)
    current = season_trials(db, season)
    shown, is_large = _shown(db, season, current), len(current) >= LARGE_SEASON
    if shown is None and is_large:
        shown = publications.shelf_of(db, season).last()  # it has the same trials
    if shown is None:
        return VisibleTrials(season_trials(db, season, until))
    moved = _moved(db, season, shown, current)
    if not moved.inside(own) and (is_large or moved.outside(own)):
        return _as_published(db, season, shown, until)
    if not (is_large or moved.outside(own)):
        return VisibleTrials(season_trials(db, season, until))
    mixed = _until(_mixed(own, current, _published(db, season, shown)), until)
    return VisibleTrials(mixed, (caller.sees, shown.revision), _moment_of(shown))


def _as_published(
    db: Session, season: Season, shown: Publication, until: datetime | None
) -> VisibleTrials:
    """Return what all keys share whose own trials are as published."""
    view = "published", shown.revision, shown.taken_at_s
    trials = _until(_published(db, season, shown), until)
    return VisibleTrials(trials, view, _moment_of(shown), are_published=True)


def _moment_of(shown: Publication) -> datetime:
    return datetime.fromtimestamp(shown.taken_at_s, UTC)


def _latest(db: Session, season: Season) -> Publication | None:
    """Return the last publication of a large season if it cannot be replaced yet, or None.

    Then the current trials need not be read, which takes longer than the answer for a key.
    """
    last = publications.shelf_of(db, season).last()
    if last is None or not last.is_complete or last.revision > season.revision:
        return None
    return last if is_early(last) else None


def is_early(last: Publication) -> bool:
    """Tell whether it is too early to publish a large season again."""
    age_s = datetime.now(UTC).timestamp() - last.taken_at_s
    return len(last.trials) >= LARGE_SEASON and age_s < PAUSE_S


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
    subject = ("published", season.id, shown.revision, shown.taken_at_s)
    revision = facts_revision(db, season)
    trials: SeasonTrials = cache_of(db).get_or_make(
        subject, revision, lambda: without_erased(db, shown.trials)
    )
    return trials


def _until(trials: SeasonTrials, moment: datetime | None) -> SeasonTrials:
    """Return the trials of sessions that began before a moment, or all."""
    if moment is None:
        return trials
    return trials.only(trials.trials["started_at"].astype(float) < moment.timestamp())


def shows_the_same(db: Session, season: Season, older: int) -> bool:
    """Tell whether others' trials are shown as at an older revision."""
    latest = _latest(db, season)
    if latest is not None:
        return older >= latest.revision
    _shown(db, season, season_trials(db, season))
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
    if may_be_held_back and now_s - max(last.taken_at_s, shelf.considered_at_s) >= PAUSE_S:
        shelf.considered_at_s = now_s
        cache_of(db).outdate(season.id, revision)


def view_of(caller: Caller, season: Season) -> Hashable:
    """Return what distinguishes a caller's view of a season, for the subject of a cached answer.

    It has the day, since each night more trials may be published without any write.
    """
    if caller.sees_unpublished_of is None:
        return caller.sees
    return caller.sees, datetime.now(ZoneInfo(season.timezone)).date()


def _shown(db: Session, season: Season, current: SeasonTrials) -> Publication | None:
    """Return the publication that keys see instead of the current trials; None if they see these.

    It is chosen once for a revision, and again after a night has passed.
    """
    shelf = publications.shelf_of(db, season)

    def chosen(shelf: Shelf) -> Choice | None:
        return _choice(db, season, shelf, current)

    if not shelf.has_chosen(season.revision) or chosen(shelf) is not None:
        shelf = publications.choose(db, season, chosen)
    return shelf.shown_at(season.revision)


def _choice(db: Session, season: Season, shelf: Shelf, current: SeasonTrials) -> Choice | None:
    """Return a new choice for this revision, or None if the present one holds."""
    revision, last, now = season.revision, shelf.last(), datetime.now(UTC)
    if last is None:
        states = np.union1d(states_of(current), facts_of(current))
        return _complete(current, states, revision, now)
    if last.revision > revision:
        # This reader's snapshot is older than the last publication: publishing it as well would
        # let the two be compared.
        is_chosen = shelf.has_chosen(revision)
        return None if is_chosen else Choice(revision, last.revision, now.timestamp())
    moved = _moved(db, season, last, current)
    if not len(moved.school):
        is_chosen = shelf.shown.get(revision) == revision
        return None if is_chosen else Choice(revision, revision, now.timestamp())
    if is_early(last):
        is_chosen = shelf.shown.get(revision) == last.revision
        return None if is_chosen else Choice(revision, last.revision, now.timestamp())
    ages = Ages(
        now,
        season.timezone,
        shelf.changed_at_s or now.timestamp(),
        lambda: _changed_at(db, moved.trial_id.tolist()),
    )
    if moved.may_be_shown(_reaches(db, now), ages):
        return _complete(current, np.union1d(last.states, moved.states), revision, now)
    aged = moved.aged(ages)
    if aged.any():
        content = part_way(last.trials, current, set(moved.trial_id[~aged].tolist()))
        # The waiting trials were not shown in their new states.
        partly = moved_trials(last.trials, content, last.states, {})
        return _publication(content, np.union1d(last.states, partly.states), revision, now)
    is_chosen = shelf.shown.get(revision) == last.revision
    return None if is_chosen else Choice(revision, last.revision, now.timestamp())


def _complete(trials: SeasonTrials, states: Array, revision: int, now: datetime) -> Choice:
    """Return the choice to publish all trials of a revision."""
    choice = _publication(trials, states, revision, now)
    publication = choice.published and replace(choice.published, is_complete=True)
    return replace(choice, published=publication)


def _publication(trials: SeasonTrials, states: Array, revision: int, now: datetime) -> Choice:
    """Return the choice to publish trials at a revision; `states` has all states ever shown."""
    at_s = now.timestamp()
    return Choice(revision, revision, at_s, Publication(revision, at_s, trials, states))


def _moved(db: Session, season: Season, last: Publication, current: SeasonTrials) -> Moved:
    """Return how a season's trials differ from those of a publication."""

    def compared() -> Moved:
        hosts = {row.id: row.organisation_id for row in db.execute(_HOSTS)}
        before, after = _where_changed(db, season, last, current)
        return moved_trials(before, after, last.states, hosts)

    subject = ("moved", season.id, last.revision, last.taken_at_s)
    moved: Moved = cache_of(db).get_or_make(subject, season.revision, compared)
    return moved


def _where_changed(
    db: Session, season: Season, last: Publication, current: SeasonTrials
) -> tuple[SeasonTrials, SeasonTrials]:
    """Return the published and the current trials at benches that changed, or all if unknown."""
    changes = changes_since(db, season, last.revision) if last.is_complete else None
    if changes is None or any(change.benches is None for change in changes):
        return last.trials, current
    benches = frozenset[str]().union(*(change.benches or () for change in changes))
    of_last, of_current = (are_among(each.trials["bench_id"], benches)
                           for each in (last.trials, current))  # fmt: skip
    return last.trials.only(of_last), current.only(of_current)


def _changed_at(db: Session, trial_ids: list[str]) -> Array:
    """Return when each trial's own facts changed last [s]; NaN if unknown.

    A change is when the trial was stored or corrected, or when a question was answered.
    """
    newest: dict[str, float] = {}
    for part in parts(trial_ids):
        of_trial = col(AuditEntry.thing_id).in_(part)
        answered = col(Flag.trial_id).in_(part) & col(Flag.answered_at).is_not(None)
        for statement in (
            select(Trial.id, Trial.created_at).where(col(Trial.id).in_(part)),
            select(AuditEntry.thing_id, AuditEntry.created_at).where(of_trial),
            select(Flag.trial_id, Flag.answered_at).where(answered),
        ):
            for trial_id, moment in db.execute(statement):
                newest[trial_id] = max(newest.get(trial_id, 0.0), moment.timestamp())
    moments = [newest.get(trial_id, math.nan) for trial_id in trial_ids]
    return np.array(moments, dtype=np.float64)


def _reaches(db: Session, now: datetime) -> list[frozenset[str]]:
    """Return the sets of own schools of all valid keys; it is empty for a lead's link."""
    is_valid = col(AccessKey.revoked_at).is_(None)
    is_unexpired = or_(col(AccessKey.expires_at).is_(None), col(AccessKey.expires_at) > now)
    pairs = select(KeyOrganisation.key_id, KeyOrganisation.organisation_id).join(
        AccessKey, col(AccessKey.id) == col(KeyOrganisation.key_id)
    )
    schools = defaultdict(set)
    for key_id, school in db.execute(
        pairs.where(col(AccessKey.role) != "lead", is_valid, is_unexpired)
    ):
        schools[key_id].add(school)
    reaches = {frozenset(each) for each in schools.values()}
    is_open = col(Share.revoked_at).is_(None) & (col(Share.expires_at) > now)
    of_season = col(Share.organisation_id).is_(None)
    if db.scalar(select(Share.id).where(is_open, of_season).limit(1)) is not None:
        reaches.add(frozenset())
    return list(reaches)


def _are_of(trials: SeasonTrials, schools: frozenset[str]) -> Array:
    return np.isin(trials.trials["organisation_id"].astype(str), sorted(schools))


def _mixed(own: frozenset[str], now: SeasonTrials, published: SeasonTrials) -> SeasonTrials:
    """Return own trials as they are now, and others' as published."""
    return combine([now.only(_are_of(now, own)), published.only(~_are_of(published, own))])

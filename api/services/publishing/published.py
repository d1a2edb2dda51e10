"""What a key knows of trials that are not its own: as last published, not as they are now.

Figures on a scale that all schools share depend on each school's trials. Comparing them before and
after one trial of another school would reveal that trial. So a key that does not reach all schools
sees the others' trials as of one moment, the same for all keys, which moves on when enough has
changed to hide each single trial from every one of them. The key's own trials always count at once.

Where an embedded database holds the programme, a restart publishes the current ones.
"""

import math
from collections import defaultdict
from collections.abc import Hashable
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session, col, or_, select

from api.bulk import parts
from api.models.access.keys import AccessKey, KeyOrganisation
from api.models.core.audit import AuditEntry
from api.models.measurements.flags import Flag
from api.models.registry.benches import Bench
from api.models.registry.seasons import Season
from api.models.reporting.shares import Share
from api.models.trials.trials import Trial
from api.services.core.cache import cache_of
from api.services.core.scope import Caller
from api.services.measurements.frames import Array
from api.services.measurements.season_trials import SeasonTrials, combine, season_trials
from api.services.publishing import publications
from api.services.publishing.moved_trials import (
    Ages,
    Moved,
    facts_of,
    moved_trials,
    part_way,
    states_of,
)
from api.services.publishing.publications import Choice, Publication, Shelf, those_left


@dataclass(frozen=True, slots=True)
class KnownTrials:
    """The trials that an answer may rest on.

    Where others' are not those of now, `as_of` is their moment, and `version` tells them from
    others of this revision.
    """

    trials: SeasonTrials
    version: int | None = None
    as_of: datetime | None = None


def trials_known_to(
    db: Session, caller: Caller, season: Season, until: datetime | None = None
) -> KnownTrials:
    """Return a season's trials as a key knows them, or those of sessions before a moment."""
    own = caller.sees_unpublished_of
    if own is None:
        return KnownTrials(season_trials(db, season, until))
    current = season_trials(db, season)
    shown = _shown(db, season, current)
    if shown is None or not _moved(db, season, shown, current).outside(own):
        return KnownTrials(season_trials(db, season, until))
    known = _mixed(own, current, those_left(db, shown.trials))
    if until is not None:
        known = known.only(known.trials["started_at"].astype(float) < until.timestamp())
    return KnownTrials(known, shown.revision, datetime.fromtimestamp(shown.taken_at_s, UTC))


def view_of(caller: Caller, season: Season) -> Hashable:
    """Return what tells a caller's view of a season from others', for the subject of an answer.

    With each night more may be published, though nothing is written.
    """
    if caller.sees_unpublished_of is None:
        return caller.sees
    return caller.sees, datetime.now(ZoneInfo(season.timezone)).date()


def _shown(db: Session, season: Season, current: SeasonTrials) -> Publication | None:
    """Return what keys are shown of others instead of the current trials; None if they see these.

    It is chosen once for a revision, and again when a night has passed.
    """
    shelf = publications.shelf_of(db, season)

    def chosen(shelf: Shelf) -> Choice | None:
        return _choice(db, season, shelf, current)

    if not shelf.has_chosen(season.revision) or chosen(shelf) is not None:
        shelf = publications.choose(db, season, chosen)
    return shelf.shown_at(season.revision)


def _choice(db: Session, season: Season, shelf: Shelf, current: SeasonTrials) -> Choice | None:
    """Return what is to be shown at this revision from now on; None if that is chosen."""
    revision, last, now = season.revision, shelf.last(), datetime.now(UTC)
    if last is None:
        states = np.union1d(states_of(current), facts_of(current))
        return _publication(current, states, revision, now)
    if last.revision > revision:
        # The reader's moment is older than what is published: to publish that too would let the
        # two be compared.
        is_chosen = shelf.has_chosen(revision)
        return None if is_chosen else Choice(revision, last.revision, now.timestamp())
    moved = _moved(db, season, last, current)
    if not len(moved.school):
        is_chosen = shelf.shown.get(revision) == revision
        return None if is_chosen else Choice(revision, revision, now.timestamp())
    ages = Ages(
        now,
        season.timezone,
        shelf.changed_at_s or now.timestamp(),
        lambda: _changed_at(db, moved.trial_id.tolist()),
    )
    if moved.may_be_shown(_reaches(db, now), ages):
        return _publication(current, np.union1d(last.states, moved.states), revision, now)
    aged = moved.aged(ages)
    if aged.any():
        content = part_way(last.trials, current, set(moved.trial_id[~aged].tolist()))
        # Those that wait on were not shown in their new states.
        partly = moved_trials(last.trials, content, last.states, {})
        return _publication(content, np.union1d(last.states, partly.states), revision, now)
    is_chosen = shelf.shown.get(revision) == last.revision
    return None if is_chosen else Choice(revision, last.revision, now.timestamp())


def _publication(trials: SeasonTrials, states: Array, revision: int, now: datetime) -> Choice:
    """Return the choice to publish trials at a revision; `states` are all that were ever shown."""
    at_s = now.timestamp()
    return Choice(revision, revision, at_s, Publication(revision, at_s, trials, states))


def _moved(db: Session, season: Season, last: Publication, current: SeasonTrials) -> Moved:
    """Return how a season's trials differ from those of a publication."""

    def compared() -> Moved:
        hosts = {row.id: row.organisation_id for row in db.scalars(select(Bench))}
        return moved_trials(last.trials, current, last.states, hosts)

    subject = ("moved", season.id, last.revision, last.taken_at_s)
    moved: Moved = cache_of(db).get_or_make(subject, season.revision, compared)
    return moved


def _changed_at(db: Session, trial_ids: list[str]) -> Array:
    """Return when each trial's own facts changed last, in seconds; nan if that is not known.

    It was stored, corrected, or a question about it was answered.
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
    """Return the sets of schools whose trials some key knows at once; a lead's link knows none."""
    is_good = col(AccessKey.revoked_at).is_(None)
    lasts = or_(col(AccessKey.expires_at).is_(None), col(AccessKey.expires_at) > now)
    pairs = select(KeyOrganisation.key_id, KeyOrganisation.organisation_id).join(
        AccessKey, col(AccessKey.id) == col(KeyOrganisation.key_id)
    )
    schools = defaultdict(set)
    for key_id, school in db.execute(pairs.where(col(AccessKey.role) != "lead", is_good, lasts)):
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
    """Return own trials as they are and others' as they were published."""
    return combine([now.only(_are_of(now, own)), published.only(~_are_of(published, own))])

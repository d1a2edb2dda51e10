"""Choose which publication of a season is shown at a revision, and when the next one is made."""

import math
from collections import defaultdict
from dataclasses import replace
from datetime import UTC, datetime

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
from api.services.core.changes import changes_since
from api.services.measurements.frames import Array
from api.services.measurements.season_trials import LARGE_SEASON, SeasonTrials
from api.services.publishing import publications
from api.services.publishing.moved_trials import (
    Ages,
    Moved,
    facts_of,
    moved_trials,
    part_way,
    states_of,
)
from api.services.publishing.publications import Choice, Publication, Shelf

#: A large season is published at most once in this time. Fitting it again takes a second or two, in
#: which all requests of the process wait for each other: that is to be one of a hundred. [s]
PAUSE_S = 120.0
_HOSTS = select(Bench.id, Bench.organisation_id)


def latest_for_now(db: Session, season: Season) -> Publication | None:
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
    return len(last.trials) >= LARGE_SEASON and 0 <= age_s < PAUSE_S  # a clock may be set back


def shown_publication(db: Session, season: Season, current: SeasonTrials) -> Publication | None:
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
    moved = moved_since(db, season, last, current)
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


def moved_since(db: Session, season: Season, last: Publication, current: SeasonTrials) -> Moved:
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

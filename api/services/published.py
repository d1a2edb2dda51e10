"""What a key knows of trials that are not its own: as last published, not as they are now.

Figures on a scale that all schools share depend on each school's trials. Comparing them before and
after one trial of another school would reveal that trial. So a key that does not reach all schools
sees the others' trials as of one moment, which moves on when enough has changed to hide each single
trial. The key's own trials always count at once.

Where an embedded database holds the programme, a restart publishes the current ones.
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import Enum
from zoneinfo import ZoneInfo

import numpy as np
from sqlmodel import Session, select

from analysis.trial_result import PowerResults
from api.models.benches import Bench
from api.models.builds import Build
from api.models.seasons import Season
from api.services import snapshots
from api.services.frames import Array
from api.services.packed_trials import columns_of
from api.services.scope import Caller
from api.services.season_trials import SeasonTrials, season_trials
from api.services.snapshots import Shelf, Snapshot

#: So many trials, of so many other schools, make a move that hides each of them.
LEAST_TRIALS, LEAST_SCHOOLS = 5, 2
#: So long after a change was first seen whatever there is is published: it is old news by then.
LONGEST = timedelta(days=7)


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
    own = caller.organisation_ids
    if own is None:
        return KnownTrials(season_trials(db, season, until))
    current = season_trials(db, season)
    snapshot = _published(db, own, season, current)
    if snapshot is None:
        return KnownTrials(season_trials(db, season, until))
    known = _mixed(db, own, current, snapshot.trials)
    if until is not None:
        known = known.only(known.trials["started_at"].astype(float) < until.timestamp())
    return KnownTrials(known, snapshot.revision, datetime.fromtimestamp(snapshot.taken_at_s, UTC))


def _published(
    db: Session, own: frozenset[str], season: Season, current: SeasonTrials
) -> Snapshot | None:
    """Return what keys of this reach see instead of the current trials; None if they see these."""
    shelf = snapshots.shelf_of(db, season, own)
    if _must_choose(shelf, current, own, season):
        with snapshots.choosing(db, season, own) as shelf:
            _choose(shelf, current, own, season)
            return shelf.shown_at(season.revision)
    return shelf.shown_at(season.revision)


def _must_choose(shelf: Shelf, current: SeasonTrials, own: frozenset[str], season: Season) -> bool:
    """Tell whether nothing was chosen for this revision yet, or time makes changes due."""
    if not shelf.has_chosen(season.revision):
        return True
    kept = shelf.shown_at(season.revision)
    return kept is not None and _step(shelf, kept, current, own, season) is not Step.KEEP


def _choose(shelf: Shelf, current: SeasonTrials, own: frozenset[str], season: Season) -> None:
    """Choose what is shown at this revision, unless that was done meanwhile."""
    revision, last, now_s = season.revision, shelf.last(), datetime.now(UTC).timestamp()
    if shelf.shown.get(revision) == revision:
        return
    if last is not None and last.revision > revision:
        # The reader's moment is older than what is published: to publish that too would let the
        # two be compared.
        shelf.shown[revision] = (shelf.shown_at(revision) or last).revision
        return
    step = Step.PUBLISH if last is None else _step(shelf, last, current, own, season)
    if last is None or step is Step.PUBLISH:
        shelf.publish(Snapshot(revision, now_s, current))
    elif step is Step.SAME:
        shelf.show_current(revision)
    else:
        shelf.keep(revision, last, now_s)


class Step(Enum):
    """What follows from the changes of others' trials since they were published."""

    KEEP = "too few to hide each of them"
    SAME = "none: the current trials tell nothing new"
    PUBLISH = "enough, or old enough"


def _step(
    shelf: Shelf,
    last: Snapshot,
    current: SeasonTrials,
    own: frozenset[str],
    season: Season,
) -> Step:
    changed = _changed_schools(last.trials, current, own)
    if not changed:
        return Step.SAME
    now = datetime.now(UTC)
    since = datetime.fromtimestamp(shelf.changed_at_s or now.timestamp(), UTC)
    return Step.PUBLISH if _is_due(changed, since, now, season.timezone) else Step.KEEP


def _is_due(changed: list[str], since: datetime, now: datetime, zone: str) -> bool:
    """Tell whether changes of others' trials, by their schools, may be shown.

    At once where two schools or more are among them, where they are of one on another day than
    the first of them was seen.
    """
    if now - since > LONGEST:
        return True
    if len(changed) < LEAST_TRIALS:
        return False
    is_another_day = since.astimezone(ZoneInfo(zone)).date() < now.astimezone(ZoneInfo(zone)).date()
    return is_another_day or len(set(changed)) >= LEAST_SCHOOLS


def _changed_schools(before: SeasonTrials, after: SeasonTrials, own: frozenset[str]) -> list[str]:
    """Return the school of each trial of others that came, went or has other numbers."""
    before, after = _of_others(before, own), _of_others(after, own)
    old, new = before.trials["trial_id"], after.trials["trial_id"]
    _, at_old, at_new = np.intersect1d(old, new, return_indices=True)
    moved = np.zeros(len(at_old), dtype=bool)
    for name in before.trials:
        moved |= before.trials[name][at_old] != after.trials[name][at_new]
    was, became = columns_of(before.results), columns_of(after.results)
    for name in was:
        moved |= _differ(was[name][at_old], became[name][at_new])
    gone, come = ~np.isin(old, new), ~np.isin(new, old)
    schools = [
        before.trials["organisation_id"][gone],
        after.trials["organisation_id"][come],
        after.trials["organisation_id"][at_new[moved]],
    ]
    return [str(school) for part in schools for school in part.tolist()]


def _differ(one: Array, other: Array) -> Array:
    """Return where two columns differ; a number that is not known is like another such."""
    differ: Array = ~np.isclose(one, other, rtol=0, atol=0, equal_nan=True)
    return differ


def _of_others(trials: SeasonTrials, own: frozenset[str]) -> SeasonTrials:
    return trials.only(~_are_of(trials, own))


def _are_of(trials: SeasonTrials, schools: frozenset[str]) -> Array:
    return np.isin(trials.trials["organisation_id"].astype(str), sorted(schools))


def _mixed(
    db: Session, own: frozenset[str], now: SeasonTrials, published: SeasonTrials
) -> SeasonTrials:
    """Return own trials as they are and others' as they were published.

    Of what was erased since then nothing is left, however it was published.
    """
    mine = now.only(_are_of(now, own))
    others = _of_others(published, own)
    builds, benches = (set(db.scalars(select(table.id))) for table in (Build, Bench))
    is_there = np.array(
        [
            build in builds and bench in benches
            for build, bench in zip(
                others.trials["build_id"].tolist(), others.trials["bench_id"].tolist(), strict=True
            )
        ],
        dtype=bool,
    )
    others = others.only(is_there)
    trials = {
        name: np.concatenate([mine.trials[name], others.trials[name]]) for name in mine.trials
    }
    joined = SeasonTrials(trials, PowerResults.joined([mine.results, others.results]))
    return joined.in_order(np.argsort(trials["trial_id"].astype(str), kind="stable"))

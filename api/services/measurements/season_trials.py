"""Read a season's trials with their powers, once for each revision; all reports use them.

Only the columns that summaries need are cached, so that a season of any size fits into memory.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import datetime

import numpy as np
from sqlalchemy import ColumnElement, Executable, or_, select
from sqlmodel import Session, col

from analysis.numeric.groups import are_among
from analysis.trials.results import PowerResults
from api.models.measurements.flags import Flag
from api.models.measurements.results import CachedResult
from api.models.registry.builds import Build
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core.cache import cache_of
from api.services.core.changes import changes_since
from api.services.measurements import results
from api.services.measurements.flags import CONFIRMED, UNLIKE_SEASON
from api.services.measurements.frames import Array, Columns, merge, read_columns, read_plain

AT_ONCE = 20_000  # trials in one query
#: Trials of a season from which its answers take long: only what changed is read and fitted again.
LARGE_SEASON = 5_000
OF_TRIAL = ("organisation_id", "session_id", "build_id", "version", "state", "kind")
_TRIALS = (
    select(*(col(getattr(Trial, name)) for name in ("id", *OF_TRIAL)), col(CachedResult.numbers))
    .outerjoin(
        CachedResult, results.by_current_formula & (col(CachedResult.trial_id) == col(Trial.id))
    )
    .order_by(col(Trial.id))
)
_SESSIONS = select(col(BenchSession.id), col(BenchSession.bench_id), col(BenchSession.started_at))
_BUILDS = (
    select(col(Build.id), col(Turbine.team_id), col(Build.turbine_id), col(Build.number))
    .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
    .outerjoin(Team, col(Team.id) == col(Turbine.team_id))
)


@dataclass(frozen=True, slots=True)
class SeasonTrials:
    """Trials as columns, in the order of their ids, and their powers."""

    trials: Columns
    results: PowerResults

    def __len__(self) -> int:
        return len(self.trials["build_id"])

    def only(self, which: Array) -> "SeasonTrials":
        """Return the trials where `which` is true; this object itself if all are."""
        if which.all():
            return self
        return self.in_order(np.flatnonzero(which))

    def in_order(self, places: Array) -> "SeasonTrials":
        """Return the trials at these indices, in their order."""
        trials = {name: column[places] for name, column in self.trials.items()}
        return SeasonTrials(trials, self.results.only(places))


def combine(parts: list[SeasonTrials]) -> SeasonTrials:
    """Return several lists of trials as one, in the order of their ids."""
    joined = _joined(parts)
    return joined.in_order(np.argsort(joined.trials["trial_id"].astype(str), kind="stable"))


def season_trials(db: Session, season: Season, until: datetime | None = None) -> SeasonTrials:
    """Return all trials of a season, or those of sessions that began before a moment."""
    subject = ("trials", season.id, until)
    cache = cache_of(db)

    def read() -> SeasonTrials:
        before = None if until else cache.newest(subject, 0)
        updated = before and _updated(db, season, *before)
        return updated or _read(db, season, until)

    cached: SeasonTrials = cache.get_or_make(subject, season.revision, read)
    return cached


def _updated(
    db: Session, season: Season, revision: int, before: SeasonTrials
) -> SeasonTrials | None:
    """Return trials as read at an older revision, with those of changed benches read again.

    Return None if more may have changed, or if reading everything takes no longer.
    """
    benches = changed_benches(db, season, revision, len(before))
    if benches is None:
        return None
    if not benches:
        return before
    return _inserted(before, benches, _at_benches(db, season, benches))


def changed_benches(db: Session, season: Season, revision: int, trials: int) -> set[str] | None:
    """Return the benches at which trials changed since a revision of a season with so many trials.

    Return None if more may have changed, or if reading everything takes no longer.
    """
    changes = changes_since(db, season, revision)
    if changes is None or trials < LARGE_SEASON:
        return None
    benches = set[str]()
    for change in changes:
        if change.benches is None:
            return None
        benches |= change.benches
    return benches


def _at_benches(db: Session, season: Season, benches: set[str]) -> SeasonTrials:
    """Read the trials at some benches, and only their sessions and builds."""
    there = col(BenchSession.bench_id).in_(benches)
    sessions = select(col(BenchSession.id)).where(col(BenchSession.season_id) == season.id, there)
    chosen = col(Trial.session_id).in_(sessions)
    builds = _BUILDS.where(col(Build.id).in_(select(col(Trial.build_id)).where(chosen)))
    return _merged(
        db,
        season,
        [col(Trial.season_id) == season.id, chosen],
        _SESSIONS.where(col(BenchSession.season_id) == season.id, there),
        builds,
    )


def _inserted(before: SeasonTrials, benches: set[str], added: SeasonTrials) -> SeasonTrials:
    """Return trials with those at some benches replaced, in the order of their ids."""
    stays = np.flatnonzero(~are_among(before.trials["bench_id"], benches))
    at = np.searchsorted(before.trials["trial_id"][stays], added.trials["trial_id"])
    beyond = len(before) + 1  # where the added ones begin, never next to the last old one
    runs = _runs(np.insert(stays, at, beyond + np.arange(len(added))))
    if not runs:
        return added

    def joined(old: Array, new: Array) -> Array:
        column: Array = np.concatenate(
            [old[a:b] if a < beyond else new[a - beyond : b - beyond] for a, b in runs]
        )
        return column

    trials = {name: joined(column, added.trials[name]) for name, column in before.trials.items()}
    powers = {each.name: joined(getattr(before.results, each.name),
                                getattr(added.results, each.name))
              for each in fields(PowerResults)}  # fmt: skip
    return SeasonTrials(trials, PowerResults(**powers))


def _runs(places: Array) -> list[tuple[int, int]]:
    """Return the first and the end of each run of consecutive places."""
    cuts = np.flatnonzero(np.diff(places) != 1) + 1
    return [(int(run[0]), int(run[-1]) + 1) for run in np.split(places, cuts) if len(run)]


def _read(db: Session, season: Season, until: datetime | None) -> SeasonTrials:
    conditions = [col(Trial.season_id) == season.id]
    if until is not None:
        before = select(col(BenchSession.id)).where(
            col(BenchSession.season_id) == season.id, col(BenchSession.started_at) < until
        )
        conditions.append(col(Trial.session_id).in_(before))
    return _merged(db, season, conditions, sessions_in(season.id), builds_in(season.id))


def _merged(
    db: Session,
    season: Season,
    conditions: list[ColumnElement[bool]],
    sessions: Executable,
    builds: Executable,
) -> SeasonTrials:
    """Read trials by parts, with the columns of their sessions and builds."""
    complete = _joined([_part(db, *part) for part in parts_of(db, *conditions)])
    merge(complete.trials, _sessions(db, sessions), "session_id")
    merge(complete.trials, _builds(db, builds), "build_id")
    complete.trials["is_confirmed"] = _confirmed(db, season.id, complete.trials["trial_id"])
    return complete


def _confirmed(db: Session, season_id: str, trial_ids: Array) -> Array:
    """Return which trials somebody confirmed that the rest of the season does not expect."""
    confirmed = select(col(Flag.trial_id)).where(
        col(Flag.season_id) == season_id,
        col(Flag.rule) == UNLIKE_SEASON,
        col(Flag.state) == CONFIRMED,
    )
    return are_among(trial_ids, set(db.scalars(confirmed)))


def _joined(parts: list[SeasonTrials]) -> SeasonTrials:
    """Return parts as one; in its own function, so that their memory is free before the merges."""
    trials = {name: np.concatenate([part.trials[name] for part in parts])
              for name in parts[0].trials}  # fmt: skip
    return SeasonTrials(trials, PowerResults.joined([part.results for part in parts]))


def _sessions(db: Session, query: Executable) -> Columns:
    sessions = read_columns(db, ["session_id", "bench_id", "started_at"], query)
    moments = [moment.timestamp() for moment in sessions["started_at"]]
    return sessions | {"started_at": np.array(moments, dtype=np.float64)}


def _builds(db: Session, query: Executable) -> Columns:
    return read_columns(db, ["build_id", "team_id", "turbine_id", "build_number"], query)


def trials_where(*conditions: ColumnElement[bool]) -> Executable:
    """Return the query for trials with the numbers of their results."""
    return _TRIALS.where(*conditions)


def sessions_in(season_id: str) -> Executable:
    """Return the query for a season's sessions."""
    return _SESSIONS.where(col(BenchSession.season_id) == season_id)


def builds_in(season_id: str) -> Executable:
    """Return the query for the builds of a season's teams and of reference rotors."""
    return _BUILDS.where(or_(col(Team.season_id) == season_id, col(Turbine.team_id).is_(None)))


def parts_of(
    db: Session, *conditions: ColumnElement[bool]
) -> Iterator[tuple[ColumnElement[bool], ...]]:
    """Yield conditions that split trials into parts of `AT_ONCE`, in the order of their ids."""
    after = ""
    while True:
        part = (*conditions, col(Trial.id) > after)
        ids = select(col(Trial.id)).where(*part).order_by(col(Trial.id))
        last = db.scalar(ids.offset(AT_ONCE - 1).limit(1))
        if last is None:
            yield part
            return
        yield (*part, col(Trial.id) <= last)
        after = last


def _part(db: Session, *conditions: ColumnElement[bool]) -> SeasonTrials:
    """Read trials without sessions and builds; compute results that are not cached."""
    trials = read_plain(db, ["trial_id", *OF_TRIAL, "numbers"], trials_where(*conditions))
    numbers, ids = trials.pop("numbers").tolist(), trials["trial_id"].tolist()
    missing = [ids[at] for at, packed in enumerate(numbers) if packed is None]
    if missing:
        computed = results.computed(db, missing)
        numbers = [packed or computed[ids[at]][1] for at, packed in enumerate(numbers)]
    return SeasonTrials(trials, results.powers_of(numbers))

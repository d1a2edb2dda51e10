"""Check trials that were just stored with the few older ones that their checks look back at.

The cost does not depend on how many trials their bench has. Where the checks could find something
else than with the complete bench, nothing is checked, and the caller checks the complete bench.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from math import isfinite
from operator import attrgetter
from typing import Any

import numpy as np
from sqlalchemy import Row, and_, func
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from analysis.checks.newest_trials import (
    LATEST_WINDS,
    NEEDS_ALL,
    REFERENCE_DAYS,
    USUAL_VALUES,
    check_newest,
)
from analysis.trials.results import trial_results
from api.models.measurements.flags import Flag
from api.models.measurements.results import CachedResult
from api.models.registry.builds import Build
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Trial
from api.services.measurements import flags, results
from api.services.measurements.frames import read_checked_frame
from api.services.measurements.results import unpacked

MOST = 64  # new trials that are checked so; more are as fast with their complete bench
SESSIONS_READ = 32  # of a bench, the latest, in search of wind speeds
WINDS_READ = 32  # trials of sessions that began together
_OF_TRIAL: list[Any] = [Trial.id, Trial.session_id, Trial.build_id, Trial.kind, Trial.season_id]
_OF_SESSION: list[Any] = [BenchSession.bench_id, BenchSession.started_at]
_NEW = select(*_OF_TRIAL, *_OF_SESSION).join(
    BenchSession, col(BenchSession.id) == col(Trial.session_id)
)


@dataclass(frozen=True, slots=True)
class NewTrials:
    """Trials of one bench and season that were just stored, as rows of `_NEW`."""

    season_id: str
    bench_id: str
    rows: Sequence[Row[Any]]

    @property
    def ids(self) -> list[str]:
        """Return their ids."""
        return [row.id for row in self.rows]

    @property
    def sessions(self) -> list[str]:
        """Return the ids of their sessions."""
        return sorted({row.session_id for row in self.rows})

    @property
    def first_at(self) -> datetime:
        """Return when the first of their sessions began."""
        first: datetime = min(row.started_at for row in self.rows)
        return first


def of_bench(db: Session, trial_ids: Collection[str]) -> list[NewTrials]:
    """Return trials that were just stored, by bench and season."""
    by_bench = attrgetter("season_id", "bench_id")
    wanted = _NEW.where(col(Trial.id).in_(trial_ids))
    rows = sorted(db.execute(wanted).all(), key=by_bench)
    return [NewTrials(*key, list(of)) for key, of in groupby(rows, by_bench)]


def check(db: Session, new: NewTrials) -> set[str] | None:
    """Compute the results and flags of new trials, and update those that they change.

    Return the schools whose trials were looked at. If complete benches must be checked, do nothing
    and return None.
    """
    older = _older(db, new)
    if older is None:
        return None
    frame = read_checked_frame(db, col(Trial.id).in_([*older, *new.ids]))
    stored = flags.stored_about(
        db,
        new.season_id,
        col(Flag.trial_id).in_([*older, *new.ids]),
        col(Flag.session_id).in_(new.sessions),
    )
    if any(place[1] in USUAL_VALUES and flag.state == flags.CONFIRMED
           for place, flag in stored.items()):  # fmt: skip
        return None
    computed = trial_results(frame.trials, frame.runs)
    is_new = np.isin(frame.trials["trial_id"], new.ids)
    rows = results.rows_of(frame, computed)
    results.store(db, {each: rows[each] for each in new.ids}, col(Trial.id).in_(new.ids))
    view = flags.view_of(frame, computed, stored, settled=~is_new)
    checked = check_newest(view)
    decided = {place: flag for place, flag in stored.items() if checked.decides(place)}
    flags.sync(db, new.season_id, view, checked.findings, decided)
    flags.hold(db, view, checked.held)
    return set(frame.trials["organisation_id"].tolist())


def _older(db: Session, new: NewTrials) -> list[str] | None:
    """Return the ids of the older trials to check with new ones; None if all are needed."""
    if any(row.kind in NEEDS_ALL for row in new.rows):
        return None
    latest = _latest_with_wind(db, new)
    if latest is None:
        return None
    older = {*latest, *_of_builds(db, new), *_first_of_sessions(db, new), *_references(db, new)}
    older.difference_update(new.ids)
    if older and max(older) > min(new.ids):
        return None
    current = select(func.count()).where(
        col(CachedResult.trial_id).in_(older), results.by_current_formula
    )
    return sorted(older) if db.scalar(current) == len(older) else None


def _latest_with_wind(db: Session, new: NewTrials) -> list[str] | None:
    """Return the latest trials until enough have a usable wind; None if one is later than `new`."""
    sessions = (
        select(BenchSession.id, BenchSession.started_at)
        .where(_is_here(new))
        .order_by(col(BenchSession.started_at).desc())
        .limit(SESSIONS_READ)
    )
    rows = db.execute(sessions).all()
    latest: list[str] = []
    winds = 0
    for started_at, together in groupby(rows, key=attrgetter("started_at")):
        found = _with_wind(db, [row.id for row in together], new.ids)
        if found and started_at > new.first_at:
            return None
        speeds = unpacked(row.numbers for row in found)["wind_speed_m_s"]
        for row, speed in zip(found, speeds.tolist(), strict=True):
            latest.append(row.id)
            winds += row.state is None and isfinite(speed)
            if winds == LATEST_WINDS:
                return latest
        if len(found) == WINDS_READ:
            return None
    return latest if len(rows) < SESSIONS_READ else None


def _with_wind(db: Session, session_ids: list[str], but: list[str]) -> Sequence[Row[Any]]:
    """Return the latest trials of sessions: id, numbers, and state of a flag of the wind."""
    of_wind = aliased(Flag)
    is_about_wind = and_(
        col(of_wind.trial_id) == col(Trial.id),
        col(of_wind.rule) == "wind_unit_slip",
        col(of_wind.state) == flags.OPEN,
    )
    return db.execute(
        select(Trial.id, CachedResult.numbers, of_wind.state)
        .join(CachedResult, col(CachedResult.trial_id) == col(Trial.id))
        .outerjoin(of_wind, is_about_wind)
        .where(col(Trial.session_id).in_(session_ids), col(Trial.id).not_in(but))
        .where(flags.not_withdrawn)
        .order_by(col(Trial.id).desc())
        .limit(WINDS_READ)
    ).all()


def _is_here(new: NewTrials) -> Any:
    return and_(
        col(BenchSession.season_id) == new.season_id, col(BenchSession.bench_id) == new.bench_id
    )


def _of_builds(db: Session, new: NewTrials) -> Sequence[str]:
    """Return the bench's trials of the same builds, and of the builds before and after them."""
    mine = aliased(Build)
    near = (
        select(Build.id)
        .join(mine, and_(col(mine.turbine_id) == col(Build.turbine_id),
                         col(Build.number).between(col(mine.number) - 1, col(mine.number) + 1)))
        .where(col(mine.id).in_({row.build_id for row in new.rows}))
    )  # fmt: skip
    at_bench = select(BenchSession.id).where(_is_here(new))
    return db.scalars(
        select(Trial.id).where(
            col(Trial.build_id).in_(near), col(Trial.session_id).in_(at_bench), flags.not_withdrawn
        )
    ).all()


def _first_of_sessions(db: Session, new: NewTrials) -> Sequence[str]:
    """Return the first trial of each session, which represents the session."""
    firsts = (
        select(func.min(Trial.id))
        .where(col(Trial.session_id).in_(new.sessions), flags.not_withdrawn)
        .group_by(col(Trial.session_id))
    )
    return db.scalars(firsts).all()


def _references(db: Session, new: NewTrials) -> Sequence[str]:
    """Return the runs of reference rotors that are not too old to count for the sessions."""
    recent = select(BenchSession.id).where(
        _is_here(new),
        col(BenchSession.started_at) >= new.first_at - timedelta(days=REFERENCE_DAYS + 1),
    )
    return db.scalars(
        select(Trial.id).where(
            col(Trial.session_id).in_(recent), col(Trial.kind) == "reference", flags.not_withdrawn
        )
    ).all()

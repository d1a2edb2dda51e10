"""Find the older trials that the checks of new ones look back at; queries are built once."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from math import isfinite
from operator import attrgetter
from typing import Any

from sqlalchemy import Select, and_, bindparam, func, union
from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from analysis.checks.newest_trials import (
    LATEST_OF_A_SETTING,
    LATEST_WINDS,
    ONCE_A_BUILD,
    REFERENCE_DAYS,
)
from api.models.measurements.flags import Flag
from api.models.measurements.results import CachedResult
from api.models.registry.builds import Build
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Trial
from api.prepared import Prepared
from api.services.measurements import flags, results
from api.services.measurements.results import unpacked

SESSIONS_READ = 32  # of a bench, the latest, in search of wind speeds
WINDS_READ = 32  # trials of sessions that began together
MOST_OF_BUILDS = 60  # trials of builds that are read completely
OF_A_SETTING_READ = 2 * LATEST_OF_A_SETTING
SAME_LOAD = 0.01  # [-], more than loads of one setting differ by
EVERY = 1_000_000

_here = and_(
    col(BenchSession.season_id) == bindparam("season"),
    col(BenchSession.bench_id) == bindparam("bench"),
)
_of_builds = col(Trial.build_id).in_(bindparam("builds", expanding=True))
_in_sessions = col(Trial.session_id).in_(bindparam("sessions", expanding=True))
_has_load = col(Trial.load_ohm).between(bindparam("low"), bindparam("high"))
_not_new = col(Trial.id).not_in(bindparam("new", expanding=True))


def _query(*columns: Any) -> Select[Any]:
    query: Select[Any] = select(*columns).where(flags.not_withdrawn)
    return query


_OF_TRIAL: list[Any] = [
    getattr(Trial, name)
    for name in ("id", "session_id", "build_id", "kind", "load_ohm", "season_id")
]
_OF_SESSION: list[Any] = [BenchSession.bench_id, BenchSession.started_at]
_NEW = Prepared(
    select(*_OF_TRIAL, *_OF_SESSION)
    .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
    .where(col(Trial.id).in_(bindparam("new", expanding=True)))
)
_SESSIONS = Prepared(
    select(BenchSession.id, BenchSession.started_at)
    .where(_here)
    .order_by(col(BenchSession.started_at).desc())
    .limit(SESSIONS_READ)
)
_OfWind = aliased(Flag)
#: Trials with their packed results, and the state of an open flag of their wind.
_WITH_WIND = Prepared(
    _query(Trial.id, CachedResult.numbers, _OfWind.state)
    .join(CachedResult, col(CachedResult.trial_id) == col(Trial.id))
    .outerjoin(_OfWind, and_(col(_OfWind.trial_id) == col(Trial.id),
                             col(_OfWind.rule) == "wind_unit_slip",
                             col(_OfWind.state) == flags.OPEN))
    .where(_in_sessions, _not_new)
    .order_by(col(Trial.id).desc())
    .limit(bindparam("most"))
)  # fmt: skip
_NewBuild = aliased(Build)
_later_by = (col(Build.number) - col(_NewBuild.number)).label("later_by")
#: The builds of trials, and those before and after them.
_NEAR_BUILDS = Prepared(
    select(Build.id, _later_by)
    .join(_NewBuild, col(_NewBuild.turbine_id) == col(Build.turbine_id))
    .where(col(_NewBuild.id).in_(bindparam("builds", expanding=True)), _later_by.between(-1, 1))
)
_of_builds_here = (
    _query(Trial.id)
    .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
    .where(_here, _of_builds)
)
_OF_BUILDS = Prepared(_of_builds_here.limit(bindparam("most")))
_is_flagged = select(Flag.id).where(col(Flag.trial_id) == col(Trial.id),
                                    col(Flag.state) == flags.OPEN).exists()  # fmt: skip
_OF_SETTING = Prepared(
    _query(Trial.id, Trial.kind, Trial.state, CachedResult.numbers, _is_flagged.label("is_flagged"))
    .join(CachedResult, col(CachedResult.trial_id) == col(Trial.id))
    .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
    .where(_here, _of_builds, _not_new, _has_load)
    .order_by(col(BenchSession.started_at).desc(), col(Trial.id).desc())
    .limit(bindparam("most"))
)  # fmt: skip
_of_sessions = _query(Trial.id).where(_of_builds, _in_sessions)
_first_of_builds = _of_builds_here.with_only_columns(func.min(Trial.id)).group_by(
    col(Trial.build_id)
)
_flagged_once = _of_builds_here.join(Flag, col(Flag.trial_id) == col(Trial.id)).where(
    col(Flag.rule).in_(ONCE_A_BUILD), flags.not_cleared
)
#: Trials of builds that the checks of new ones need, besides those of their settings.
_OF_MANY = Prepared(union(_of_sessions, _first_of_builds, _flagged_once))
_first_of_sessions = _query(func.min(Trial.id)).where(_in_sessions).group_by(col(Trial.session_id))
_references = (
    _query(Trial.id)
    .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
    .where(
        col(Trial.kind) == "reference", _here, col(BenchSession.started_at) >= bindparam("since")
    )
)
_OF_OTHER_BUILDS = Prepared(union(_first_of_sessions, _references))
_CURRENT = Prepared(
    select(func.count()).where(
        col(CachedResult.trial_id).in_(bindparam("ids", expanding=True)), results.by_current_formula
    )
)


@dataclass(frozen=True, slots=True)
class NewTrials:
    """Trials of one bench and season that were just stored, as rows of `_NEW`."""

    season_id: str
    bench_id: str
    rows: Sequence[Any]

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

    @property
    def names(self) -> dict[str, Any]:
        """Return the values that queries name."""
        builds = sorted({row.build_id for row in self.rows})
        since = self.first_at - timedelta(days=REFERENCE_DAYS + 1)
        return {"season": self.season_id, "bench": self.bench_id, "builds": builds,
                "sessions": self.sessions, "new": self.ids, "since": since}  # fmt: skip


@dataclass(frozen=True, slots=True)
class OlderTrials:
    """The older trials to check with new ones.

    `has_complete_builds` if all of the new trials' builds and of those before and after are among
    them; otherwise a new trial of these builds cannot change a finding in an older one.
    """

    ids: Sequence[str]
    has_complete_builds: bool


def new_trials(db: Session, trial_ids: Collection[str]) -> list[NewTrials]:
    """Return trials that were just stored, by bench and season."""
    by_bench = attrgetter("season_id", "bench_id")
    rows = sorted(_NEW.rows(db.connection(), new=list(trial_ids)), key=by_bench)
    return [NewTrials(*key, list(of)) for key, of in groupby(rows, by_bench)]


def older_trials(db: Session, new: NewTrials) -> OlderTrials | None:
    """Return the older trials to check with new ones; None if the bench has to be checked."""
    names = new.names
    latest = _latest_with_wind(db, new, names)
    if latest is None:
        return None
    of_builds, has_complete_builds = _of_their_builds(db, new, names)
    others = _ids(db, _OF_OTHER_BUILDS, **names)
    older = {*latest, *of_builds, *others}.difference(new.ids)
    if older and max(older) > min(new.ids):
        return None
    ((current,),) = _CURRENT.plain(db.connection(), ids=list(older))
    return OlderTrials(sorted(older), has_complete_builds) if current == len(older) else None


def _ids(db: Session, query: Prepared, **names: Any) -> list[str]:
    return [trial_id for (trial_id,) in query.plain(db.connection(), **names)]


def _latest_with_wind(db: Session, new: NewTrials, names: dict[str, Any]) -> list[str] | None:
    """Return the latest trials until enough have a usable wind; None if one is later than `new`."""
    rows = _SESSIONS.rows(db.connection(), **names)
    latest: list[str] = []
    winds = 0
    for started_at, together in groupby(rows, key=attrgetter("started_at")):
        sessions = {"sessions": [row.id for row in together], "most": WINDS_READ}
        found = _WITH_WIND.rows(db.connection(), **(names | sessions))
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


def _of_their_builds(
    db: Session, new: NewTrials, names: dict[str, Any]
) -> tuple[Collection[str], bool]:
    """Return trials of the new trials' builds, and whether they are all of these and of the next.

    All are returned unless there are many and the latest ones are enough.
    """
    steps = _NEAR_BUILDS.plain(db.connection(), **names)
    near = names | {"builds": sorted({build_id for build_id, _ in steps})}
    few = _ids(db, _OF_BUILDS, **near, most=MOST_OF_BUILDS + 1)
    if len(few) <= MOST_OF_BUILDS:
        return few, True
    later = [build_id for build_id, later_by in steps if later_by == 1]
    latest = _latest_of_builds(db, new, names, later)
    if latest is not None:
        return latest, False
    return _ids(db, _OF_BUILDS, **near, most=EVERY), True


def _latest_of_builds(
    db: Session, new: NewTrials, names: dict[str, Any], later_builds: Sequence[str]
) -> Collection[str] | None:
    """Return the latest trials of builds, with what each check of new ones needs of the older.

    None if a new trial could change what was found in an older one, or more would be needed.
    """
    if any(row.kind == "pitch" for row in new.rows):
        return None
    later = names | {"builds": later_builds, "most": 1}
    if later_builds and _ids(db, _OF_BUILDS, **later):  # of no builds it would scan the bench
        return None
    found: set[str] = set()
    for build_id, load_ohm in {(row.build_id, row.load_ohm) for row in new.rows}:
        rows = None if load_ohm is None else _of_setting(db, names, build_id, load_ohm)
        if rows is None:
            return None
        found |= {row.id for row in rows}
    return found.union(_ids(db, _OF_MANY, **names))


def _of_setting(
    db: Session, names: dict[str, Any], build_id: str, load_ohm: float
) -> Sequence[Any] | None:
    setting = {"builds": [build_id], "low": load_ohm * (1 - SAME_LOAD),
               "high": load_ohm * (1 + SAME_LOAD), "most": OF_A_SETTING_READ}  # fmt: skip
    return _enough_of(_OF_SETTING.rows(db.connection(), **(names | setting)))


def _enough_of(rows: Sequence[Any]) -> Sequence[Any] | None:
    """Return the latest trials of a setting that define the usual value; None if there are too few.

    One of them is a record that counts.
    """
    numbers = unpacked(row.numbers for row in rows)
    powers, normalised = numbers["power_w"].tolist(), numbers["normalised_power_w"].tolist()
    sound = [
        at
        for at, row in enumerate(rows)
        if powers[at] > 0 and isfinite(normalised[at])
        and not row.is_flagged and row.state == flags.ACCEPTED
    ]  # fmt: skip
    if not any(rows[at].kind == "record" for at in sound[:LATEST_OF_A_SETTING]):
        return None
    if len(sound) >= LATEST_OF_A_SETTING:
        return rows[: sound[LATEST_OF_A_SETTING - 1] + 1]
    return rows if len(rows) < OF_A_SETTING_READ else None

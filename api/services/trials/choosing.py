"""Choose trials by what they are about, when they were run, and when they last changed."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, and_, false, or_
from sqlmodel import Session, col, select

from api.models.events.runs import EventRun
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.events import Event
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trial_queries import TrialFilters
from api.models.trials.trials import Trial
from api.services.core import resources
from api.services.core.scope import Caller, may_see

COLUMNS: dict[str, Any] = {
    "organisation_id": Trial.organisation_id,
    "season_id": Trial.season_id,
    "team_id": Turbine.team_id,
    "turbine_id": Turbine.id,
    "build_id": Trial.build_id,
    "bench_id": BenchSession.bench_id,
    "session_id": Trial.session_id,
    "kind": Trial.kind,
    "state": Trial.state,
    "client_ref": Trial.client_ref,
}


def joined(*columns: Any) -> Any:
    """Return a query of columns of trials and of all that they are about."""
    return (
        select(*columns)
        .join(BenchSession, col(Trial.session_id) == col(BenchSession.id))
        .join(Bench, col(BenchSession.bench_id) == col(Bench.id))
        .join(Season, col(Trial.season_id) == col(Season.id))
        .join(Build, col(Trial.build_id) == col(Build.id))
        .join(Turbine, col(Build.turbine_id) == col(Turbine.id))
        .join(Organisation, col(Trial.organisation_id) == col(Organisation.id))
        .outerjoin(Team, col(Turbine.team_id) == col(Team.id))
    )


def chosen_ids(db: Session, caller: Caller, wanted: TrialFilters) -> Any:
    """Return the query of the ids of wanted trials that the caller may see, in no order."""
    return joined(Trial.id).where(may_see(caller, Trial), *_conditions(db, caller, wanted))


def _conditions(db: Session, caller: Caller, wanted: TrialFilters) -> Iterator[ColumnElement[bool]]:
    for name, column in COLUMNS.items():
        if (value := getattr(wanted, name)) is not None:
            yield col(column) == value
    if wanted.event_id is not None:
        event = resources.get_row(db, caller, Event, wanted.event_id, "event_id")
        runs = select(EventRun.trial_id).where(col(EventRun.event_id) == event.id)
        yield col(Trial.id).in_(runs)
    if wanted.from_day is not None or wanted.to_day is not None:
        yield _within_days(db, wanted)
    if wanted.updated_since is not None:
        yield col(Trial.updated_at) >= wanted.updated_since


def _within_days(db: Session, wanted: TrialFilters) -> ColumnElement[bool]:
    """Return the condition that a session began within days, each in its season's time zone."""
    zones = db.scalars(select(Season.timezone).distinct())
    return or_(false(), *(and_(*_within(zone, wanted)) for zone in zones))


def _within(zone: str, wanted: TrialFilters) -> Iterator[ColumnElement[bool]]:
    yield col(Season.timezone) == zone
    if wanted.from_day is not None:
        begins = datetime.combine(wanted.from_day, time(), ZoneInfo(zone))
        yield col(BenchSession.started_at) >= begins
    if wanted.to_day is not None:
        ends = datetime.combine(wanted.to_day + timedelta(days=1), time(), ZoneInfo(zone))
        yield col(BenchSession.started_at) < ends

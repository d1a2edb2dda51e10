"""The days that matter in a season: events, visits, planned sessions, loans and wind meters."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import groupby
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta
from sqlmodel import Session, col, select

from analysis.checks.session import CHECK_HOLDS_MONTHS
from api.messages import say
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.events import Event
from api.models.registry.loans import Loan
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core.scope import Caller, may_see, visible
from api.services.registry.instruments import WIND_METER


@dataclass(frozen=True, slots=True)
class CalendarEntry:
    """One entry of a calendar: a day, or a moment of it.

    `key` and `version` are those of the stored thing: the key stays, the version grows.
    """

    key: str
    version: int
    day: date
    words: str
    path: str
    starts_at: datetime | None = None
    place: str = ""


def calendar_entries(
    db: Session, season: Season, *, of_schools: Caller, of_equipment: Caller
) -> list[CalendarEntry]:
    """Return a season's days in order: what one caller sees of schools, and one of equipment.

    Visits and sessions name teams and benches. Of equipment, which is that of today, an entry has
    only what is written on it.
    """
    schools, equipment = (_events, _visits, _planned_sessions), (_loans, _wind_meters)
    entries = [entry for part in schools for entry in part(db, of_schools, season)]
    entries += [entry for part in equipment for entry in part(db, of_equipment)]
    return sorted(entries, key=lambda entry: (entry.day, entry.words, entry.key))


def _events(db: Session, caller: Caller, season: Season) -> Iterator[CalendarEntry]:
    rows = visible(caller, Event).where(col(Event.season_id) == season.id)
    for event in db.scalars(rows):
        yield CalendarEntry(
            event.id, event.version, event.held_on, event.name, f"/events/{event.id}",
            place=event.place or "",
        )  # fmt: skip


def _visits(db: Session, caller: Caller, season: Season) -> Iterator[CalendarEntry]:
    """Yield each session to which a team in reach took its turbine."""
    rows = (
        select(BenchSession, col(Bench.name), col(Team.name))
        .join(Trial, col(Trial.session_id) == col(BenchSession.id))
        .join(Bench, col(Bench.id) == col(BenchSession.bench_id))
        .join(Build, col(Build.id) == col(Trial.build_id))
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .join(Team, col(Team.id) == col(Turbine.team_id))
        .where(may_see(caller, Team), col(BenchSession.season_id) == season.id)
        .where(col(Trial.kind) == "visit", col(Trial.state) != "withdrawn")
        .order_by(col(BenchSession.started_at), col(BenchSession.id), col(Team.name))
        .distinct()
    )
    for (session, bench), found in groupby(db.execute(rows), lambda row: (row[0], row[1])):
        teams = ", ".join(team for _, _, team in found)
        yield _at_bench(session, bench, say("calendar.visit", bench=bench, teams=teams), season)


def _planned_sessions(db: Session, caller: Caller, season: Season) -> Iterator[CalendarEntry]:
    """Yield sessions that were entered before they begin."""
    rows = (
        visible(caller, BenchSession)
        .add_columns(col(Bench.name))
        .join(Bench, col(Bench.id) == col(BenchSession.bench_id))
        .where(col(BenchSession.season_id) == season.id)
        .where(col(BenchSession.started_at) > datetime.now(UTC))
    )
    for session, bench in db.execute(rows):
        yield _at_bench(session, bench, say("calendar.session", bench=bench), season)


def _at_bench(session: BenchSession, bench: str, words: str, season: Season) -> CalendarEntry:
    local = session.started_at.astimezone(ZoneInfo(season.timezone))
    return CalendarEntry(
        session.id, session.version, local.date(), words, f"/sessions/{session.id}", local,
        bench,
    )  # fmt: skip


def _loans(db: Session, caller: Caller) -> Iterator[CalendarEntry]:
    rows = (
        visible(caller, Loan)
        .add_columns(col(Equipment.tag))
        .join(Equipment, col(Equipment.id) == col(Loan.equipment_id))
        .where(col(Loan.returned_on).is_(None))
    )
    for loan, tag in db.execute(rows):
        yield CalendarEntry(
            loan.id, loan.version, loan.due_on, say("calendar.loan", tag=tag),
            f"/equipment/{loan.equipment_id}",
        )  # fmt: skip


def _wind_meters(db: Session, caller: Caller) -> Iterator[CalendarEntry]:
    """Yield the day until which the comparison of each wind meter holds."""
    rows = visible(caller, Equipment).where(
        col(Equipment.kind) == WIND_METER, col(Equipment.retired_on).is_(None)
    )
    for meter in db.scalars(rows):
        checked_on = meter.spec.get("checked_on")
        if checked_on is not None:
            holds = relativedelta(months=int(CHECK_HOLDS_MONTHS))
            yield CalendarEntry(
                meter.id, meter.version, date.fromisoformat(checked_on) + holds,
                say("calendar.wind_meter", tag=meter.tag), f"/equipment/{meter.id}",
            )  # fmt: skip

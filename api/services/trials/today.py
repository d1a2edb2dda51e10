"""Read what needs a coach's attention today, in a fixed number of queries."""

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sqlmodel import Session, col, func, select

from api.models.measurements.flags import Flag, FlagQuery, FlagRead
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.events import Event
from api.models.registry.loans import LoanQuery, LoanRead
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core.scope import Caller, may_see, visible
from api.services.measurements import flags
from api.services.registry import loans, season_choice
from api.services.trials import answers

QUIET_AFTER = timedelta(days=14)
SHOWN = 12  # of each kind; the rest are only counted


@dataclass(frozen=True, slots=True)
class Quiet:
    """A team without a recent trial."""

    team_id: str
    name: str
    last_at: datetime | None


@dataclass(frozen=True, slots=True)
class Today:
    """What needs attention: questions that hold trials; warnings are only counted."""

    season: Season | None
    is_running: bool
    others: tuple[Season, ...]
    questions: list[FlagRead]
    held: int
    odd: int
    quiet: list[Quiet]
    quiet_count: int
    nearest: list[Team]
    unanchored: list[Bench]
    overdue: list[LoanRead]
    event: Event | None
    days_left: int | None
    schools: int
    teams: int
    benches: int
    trials: int


def today(db: Session, caller: Caller, now: datetime, named: str = "") -> Today:
    """Return what needs this caller's attention in the named season, or else the chosen one.

    The questions are those of every season that is running or still has questions.
    """
    choice = season_choice.choose(db, caller, now, named)
    season, acting = choice.season, choice.acting
    season_id = season.id if season else ""
    is_running = season_choice.is_running(season, now)
    questions, counts = _questions(db, caller, [each.id for each in acting])
    quiet = _quiet(db, caller, season_id, now) if is_running else []
    event = _next_event(db, season_id, now.date())
    return Today(
        season=season,
        is_running=is_running,
        others=acting[1:],
        questions=questions[:SHOWN],
        held=counts["hold"],
        odd=counts["warn"],
        quiet=quiet[:SHOWN],
        quiet_count=len(quiet),
        nearest=_teams(db, caller, season_id),
        unanchored=_unanchored(db, caller, season_id),
        overdue=loans.page(db, caller, LoanQuery(state="overdue", limit=SHOWN))[0],
        event=event,
        days_left=(event.held_on - now.date()).days if event else None,
        schools=_count(db, caller, Organisation),
        teams=_count(db, caller, Team, season_id),
        benches=_count(db, caller, Bench),
        trials=_count(db, caller, Trial, season_id),
    )


def _count(db: Session, caller: Caller, table: type[Any], season_id: str | None = None) -> int:
    counted = select(func.count()).select_from(table).where(may_see(caller, table))
    if season_id is not None:
        counted = counted.where(table.season_id == season_id)
    return db.scalar(counted) or 0


def _questions(
    db: Session, caller: Caller, season_ids: list[str]
) -> tuple[list[FlagRead], Counter[str]]:
    """Return the questions that hold trials, and the number of open flags by severity."""
    is_open = (
        may_see(caller, Flag),
        col(Flag.season_id).in_(season_ids),
        col(Flag.state) == flags.OPEN,
        col(Flag.severity) != "info",
    )
    counted = select(Flag.severity, func.count()).where(*is_open).group_by(col(Flag.severity))
    counts = Counter(dict(db.execute(counted).all()))
    questions: list[FlagRead] = []
    for season_id in season_ids:
        query = FlagQuery(season_id=season_id, state="open", severity="hold", limit=SHOWN)
        questions += answers.page(db, caller, query)[0]
    return questions, counts


def _quiet(db: Session, caller: Caller, season_id: str, now: datetime) -> list[Quiet]:
    """Return teams without a recent trial; those that never tested come first."""
    last = func.max(col(BenchSession.started_at))
    rows = (
        select(Team, last)
        .outerjoin(Turbine, col(Turbine.team_id) == col(Team.id))
        .outerjoin(Build, col(Build.turbine_id) == col(Turbine.id))
        .outerjoin(Trial, col(Trial.build_id) == col(Build.id))
        .outerjoin(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .where(may_see(caller, Team), col(Team.season_id) == season_id)
        .group_by(col(Team.id))
    )
    long_ago = now - QUIET_AFTER
    teams = [
        Quiet(team.id, team.name, at)
        for team, at in db.execute(rows)
        if (at or team.created_at) < long_ago
    ]
    return sorted(teams, key=lambda each: (each.last_at is not None, each.last_at or now))


def _teams(db: Session, caller: Caller, season_id: str) -> list[Team]:
    """Return teams to continue with, by name."""
    in_season = visible(caller, Team).where(col(Team.season_id) == season_id)
    return list(db.scalars(in_season.order_by(col(Team.name), col(Team.id)).limit(SHOWN)))


def _unanchored(db: Session, caller: Caller, season_id: str) -> list[Bench]:
    """Return benches with trials this season where no reference rotor ran."""
    used = (
        select(BenchSession.bench_id)
        .join(Trial, col(Trial.session_id) == col(BenchSession.id))
        .where(col(BenchSession.season_id) == season_id, col(Trial.state) == flags.ACCEPTED)
    )
    anchored = used.where(col(Trial.kind) == "reference")
    wanted = visible(caller, Bench).where(col(Bench.id).in_(used), col(Bench.id).not_in(anchored))
    return list(db.scalars(wanted.order_by(col(Bench.name)).limit(SHOWN)))


def _next_event(db: Session, season_id: str, day: date) -> Event | None:
    coming = select(Event).where(col(Event.season_id) == season_id, col(Event.held_on) >= day)
    return db.scalars(coming.order_by(col(Event.held_on)).limit(1)).first()

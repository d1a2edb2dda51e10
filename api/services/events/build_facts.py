"""What is known of the builds that come to an event, by the names that rules ask about."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, col, func, select

from analysis.event.rules import FACTS, Value
from analysis.safety import SafetyFigures
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core.scope import Caller, may_see
from api.services.measurements import flags
from api.services.registry import safety

RECORD = "record"


@dataclass(frozen=True, slots=True)
class Entrant:
    """A team with the build that it would bring, if it has one, and what is known of that."""

    team: Team
    turbine: Turbine | None
    build: Build | None
    figures: SafetyFigures | None
    facts: Mapping[str, Value]


def entrants(db: Session, caller: Caller, event: Event, season: Season) -> list[Entrant]:
    """Return the teams of a season that the caller may see, each with its newest build."""
    teams = select(Team).where(may_see(caller, Team), col(Team.season_id) == season.id)
    ordered = list(db.scalars(teams.order_by(col(Team.name), col(Team.id))))
    brought = _newest_builds(db, [team.id for team in ordered])
    seen = _seen(db, [build.id for build, _, _ in brought.values()], event, season)
    return [_entrant(team, brought.get(team.id), seen, event, season) for team in ordered]


def entrant_of(db: Session, event: Event, season: Season, build: Build) -> Entrant:
    """Return one build with what is known of it."""
    turbine = db.get_one(Turbine, build.turbine_id)
    team = db.get_one(Team, turbine.team_id)
    generator = db.get(Equipment, turbine.generator_id) if turbine.generator_id else None
    seen = _seen(db, [build.id], event, season)
    return _entrant(team, (build, turbine, generator), seen, event, season)


Brought = tuple[Build, Turbine, Equipment | None]


def _newest_builds(db: Session, team_ids: list[str]) -> dict[str, Brought]:
    """Return each team's build that was registered last; ids go by time."""
    rows = (
        select(Turbine.team_id, Build, Turbine, Equipment)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .outerjoin(Equipment, col(Equipment.id) == col(Turbine.generator_id))
        .where(col(Turbine.team_id).in_(team_ids))
        .order_by(col(Build.id))
    )
    return {
        str(team_id): (build, turbine, kit) for team_id, build, turbine, kit in db.execute(rows)
    }


@dataclass(frozen=True, slots=True)
class Seen:
    """What the trials of builds tell: each one's last record trial, and the highest wind."""

    last_record: Mapping[str, datetime]
    highest_wind: Mapping[str, float]


def _seen(db: Session, build_ids: list[str], event: Event, season: Season) -> Seen:
    """Return what trials until the event's day tell of some builds."""
    evening = event.morning(season.timezone) + timedelta(days=1)
    last = (
        select(col(Trial.build_id), func.max(col(BenchSession.started_at)))
        .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .where(col(Trial.build_id).in_(build_ids), col(Trial.kind) == RECORD)
        .where(col(Trial.state) == flags.ACCEPTED, col(BenchSession.started_at) < evening)
        .group_by(col(Trial.build_id))
    )
    winds = safety.highest_winds(db, col(Trial.build_id).in_(build_ids))
    return Seen(dict(db.execute(last).all()), winds)


def _entrant(
    team: Team,
    brought: Brought | None,
    seen: Seen,
    event: Event,
    season: Season,
) -> Entrant:
    if brought is None:
        return Entrant(team, None, None, None, {})
    build, turbine, generator = brought
    planned = event.wind_speed_m_s or season.reference_wind_speed_m_s
    wind = max(planned, seen.highest_wind.get(build.id, 0.0))
    figures = safety.figures(build, turbine, wind, season.reference_air_density_kg_m3)
    things = {
        "build": build,
        "turbine": turbine,
        "team": team,
        "safety": figures,
        "trials": None,
        "generator": None,
    }
    facts: dict[str, Value] = {
        name: getattr(things[name.partition(".")[0]], name.partition(".")[2], None)
        for name in FACTS
    }
    facts["generator.class"] = (generator.spec if generator else {}).get("class")
    facts["trials.days_since_record"] = _days_since(seen.last_record.get(build.id), event, season)
    return Entrant(team, turbine, build, figures, facts)


def _days_since(moment: datetime | None, event: Event, season: Season) -> float | None:
    if moment is None:
        return None
    morning = event.morning(season.timezone)
    return float((morning - moment + timedelta(days=1)).days)

"""Read the facts of the builds at an event, under the names that rules use."""

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
    """A team with its newest build, if it has one, and the facts of the build."""

    team: Team
    turbine: Turbine | None
    build: Build | None
    figures: SafetyFigures | None
    facts: Mapping[str, Value]


def entrants(db: Session, caller: Caller, event: Event, season: Season) -> list[Entrant]:
    """Return the teams of a season that the caller may see, each with its newest build."""
    teams = select(Team).where(may_see(caller, Team), col(Team.season_id) == season.id)
    ordered = list(db.scalars(teams.order_by(col(Team.name), col(Team.id))))
    newest = _newest_builds(db, [team.id for team in ordered])
    tests = _read_tests(db, [build.id for build, _, _ in newest.values()], event, season)
    return [_entrant(team, newest.get(team.id), tests, event, season) for team in ordered]


def entrant_of(db: Session, event: Event, season: Season, build: Build) -> Entrant:
    """Return one build with its facts."""
    turbine = db.get_one(Turbine, build.turbine_id)
    team = db.get_one(Team, turbine.team_id)
    generator = db.get(Equipment, turbine.generator_id) if turbine.generator_id else None
    tests = _read_tests(db, [build.id], event, season)
    return _entrant(team, (build, turbine, generator), tests, event, season)


BuildParts = tuple[Build, Turbine, Equipment | None]


def _newest_builds(db: Session, team_ids: list[str]) -> dict[str, BuildParts]:
    """Return the newest build of each team; ids sort by time."""
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
class BuildTests:
    """The time of the last record trial and the highest wind of each build."""

    last_record: Mapping[str, datetime]
    highest_wind: Mapping[str, float]


def _read_tests(db: Session, build_ids: list[str], event: Event, season: Season) -> BuildTests:
    """Return facts from the trials of builds up to the day of the event."""
    evening = event.morning(season.timezone) + timedelta(days=1)
    last = (
        select(col(Trial.build_id), func.max(col(BenchSession.started_at)))
        .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .where(col(Trial.build_id).in_(build_ids), col(Trial.kind) == RECORD)
        .where(col(Trial.state) == flags.ACCEPTED, col(BenchSession.started_at) < evening)
        .group_by(col(Trial.build_id))
    )
    winds = safety.highest_winds(db, col(Trial.build_id).in_(build_ids))
    return BuildTests(dict(db.execute(last).all()), winds)


def _entrant(
    team: Team,
    parts: BuildParts | None,
    tests: BuildTests,
    event: Event,
    season: Season,
) -> Entrant:
    if parts is None:
        return Entrant(team, None, None, None, {})
    build, turbine, generator = parts
    planned = event.wind_speed_m_s or season.reference_wind_speed_m_s
    wind = max(planned, tests.highest_wind.get(build.id, 0.0))
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
    facts["trials.days_since_record"] = _days_since(tests.last_record.get(build.id), event, season)
    return Entrant(team, turbine, build, figures, facts)


def _days_since(moment: datetime | None, event: Event, season: Season) -> float | None:
    if moment is None:
        return None
    morning = event.morning(season.timezone)
    return float((morning - moment + timedelta(days=1)).days)

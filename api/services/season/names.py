"""Read the names of a season, once for its reports."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.services.core import scope
from api.services.core.cache import cache_of
from api.services.core.changes import facts_revision
from api.services.core.scope import Caller
from api.services.registry.current_builds import CurrentBuild, current_builds


@dataclass(frozen=True, slots=True)
class SeasonNames:
    """The names of a season's schools, teams and benches, and its build numbers."""

    organisations: dict[str, str]
    teams: dict[str, str]
    benches: dict[str, tuple[str, str]]
    build_numbers: dict[str, int]
    current: dict[str, CurrentBuild]

    def untested(self, team_id: str, build_id: str) -> int | None:
        """Return the number of the current build if a figure belongs to another one."""
        current = self.current.get(team_id)
        return current.number if current and current.build_id != build_id else None


def read_names(db: Session, caller: Caller, season: Season, teams: list[Team]) -> SeasonNames:
    """Read the names of a season that the caller may see."""
    organisations = db.scalars(scope.visible(caller, Organisation))
    benches = db.scalars(scope.visible(caller, Bench))
    builds: _Builds = cache_of(db).get_or_make(
        ("builds", season.id), facts_revision(db, season), lambda: _builds(db, season.id)
    )
    return SeasonNames(
        {row.id: row.name for row in organisations},
        {team.id: team.name for team in teams},
        {row.id: (row.name, row.organisation_id) for row in benches},
        builds.numbers,
        builds.current,
    )


@dataclass(frozen=True, slots=True)
class _Builds:
    """The numbers of a season's builds, and the current build of each team."""

    numbers: dict[str, int]
    current: dict[str, CurrentBuild]


def _builds(db: Session, season_id: str) -> _Builds:
    numbered = db.execute(
        select(Build.id, Build.number)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .join(Team, col(Team.id) == col(Turbine.team_id))
        .where(col(Team.season_id) == season_id)
    )
    return _Builds({row.id: row.number for row in numbered}, current_builds(db, season_id))

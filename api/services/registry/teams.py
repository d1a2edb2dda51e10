"""Teams: register, list, change."""

from collections.abc import Collection
from dataclasses import dataclass

from sqlmodel import Session, col, select

from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team, TeamCreate, TeamQuery, TeamRead, TeamUpdate
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.measurements import rechecks


def create(db: Session, caller: Caller, team: TeamCreate) -> TeamRead:
    """Register a team in a season."""
    resources.get_row(db, caller, Organisation, team.organisation_id, "organisation_id")
    require_owner(caller, team.organisation_id)
    season = resources.get_row(db, caller, Season, team.season_id, "season_id")
    revisions.raise_season(db, season.id)  # it has no trials yet, and reports name it
    return resources.read(TeamRead, resources.store(db, caller, Team, team))


def get(db: Session, caller: Caller, team_id: str) -> TeamRead:
    """Return a team."""
    return resources.read(TeamRead, resources.get_row(db, caller, Team, team_id))


def page(db: Session, caller: Caller, query: TeamQuery) -> tuple[list[TeamRead], Rest]:
    """Return a page of teams."""
    rows, after = pages.page(db, caller, Team, query)
    return [resources.read(TeamRead, row) for row in rows], after


def change(
    db: Session, caller: Caller, team_id: str, changes: TeamUpdate, version: int
) -> TeamRead:
    """Change a team; a new name is checked for names of persons."""
    row = resources.get_row(db, caller, Team, team_id)
    require_owner(caller, row.organisation_id)
    revisions.raise_season(db, row.season_id)
    if "name" in resources.change(db, caller, row, changes, version):
        rechecks.recheck(db, rechecks.of_team(row.id))
    return resources.read(TeamRead, row)


@dataclass(frozen=True, slots=True)
class School:
    """A team's school."""

    id: str
    name: str


def schools_of(db: Session, season_id: str, team_ids: Collection[str]) -> dict[str, School]:
    """Return the school of each of these teams of a season, which the caller may see by name."""
    rows = (
        select(Team.id, Organisation.id, Organisation.name)
        .join(Organisation, col(Organisation.id) == col(Team.organisation_id))
        .where(col(Team.season_id) == season_id)
    )
    wanted = set(team_ids)
    return {team_id: School(*of) for team_id, *of in db.execute(rows) if team_id in wanted}


def numbers_of(db: Session, season_id: str) -> dict[str, int]:
    """Return the number of each team of a season in the order of registration, from 0."""
    ids = select(Team.id).where(col(Team.season_id) == season_id).order_by(col(Team.id))
    return {team_id: number for number, team_id in enumerate(db.scalars(ids))}

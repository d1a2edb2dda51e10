"""Teams: register, list, change."""

from sqlmodel import Session

from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team, TeamCreate, TeamQuery, TeamRead, TeamUpdate
from api.services.core import resources, revisions
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


def page(db: Session, caller: Caller, query: TeamQuery) -> tuple[list[TeamRead], str | None]:
    """Return a page of teams."""
    rows, after = resources.page(db, caller, Team, query)
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

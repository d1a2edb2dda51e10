"""Who may be named to whom: own teams, and those of schools that share theirs by name."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from api.messages import say
from api.models.registry.organisations import Organisation
from api.models.registry.teams import Team
from api.services.core.scope import Caller

NAMED = "named"


@dataclass(frozen=True, slots=True)
class Namer:
    """The teams of a season that one caller may see the names of."""

    teams: dict[str, Team]
    schools: dict[str, str]

    def name(self, team_id: str) -> str:
        """Return a team's name with its school, or that it is another's."""
        team = self.teams.get(team_id)
        if team is None:
            return say("named.another_team")
        return f"{team.name} ({self.schools[team.organisation_id]})"

    def shown_id(self, team_id: str | None) -> str | None:
        """Return a team's id where the team may be named."""
        return team_id if team_id in self.teams else None


def namer(db: Session, caller: Caller, season_id: str) -> Namer:
    """Return what names the teams of a season to a caller."""
    rows = (
        select(Team, Organisation)
        .join(Organisation, col(Organisation.id) == col(Team.organisation_id))
        .where(col(Team.season_id) == season_id)
    )
    shown = [
        (team, school)
        for team, school in db.execute(rows)
        if caller.reaches(school.id) or school.sharing == NAMED
    ]
    return Namer(
        {team.id: team for team, _ in shown}, {school.id: school.name for _, school in shown}
    )

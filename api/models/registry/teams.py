"""A team in one season: a label, and no personal data."""

from typing import ClassVar

from sqlmodel import Field as Column
from sqlmodel import SQLModel, UniqueConstraint

from api.models.core.fields import Label, TeamSize
from api.models.core.ids import OrganisationId, SeasonId
from api.models.core.shapes import Answer, Input, NamedListQuery, Stored, changes_of


class TeamFacts(SQLModel):
    """The fields that all shapes of a team have."""

    organisation_id: OrganisationId = Column(foreign_key="organisation.id", index=True)
    season_id: SeasonId = Column(foreign_key="season.id", index=True)
    name: Label = Column(description="A label, never a pupil's name.")
    entry_class: Label | None = None
    age_band: Label | None = None
    size: TeamSize | None = None


class Team(TeamFacts, Stored, table=True):
    """A stored team."""

    __tablename__ = "team"
    prefix: ClassVar[str] = "team"
    __table_args__ = (UniqueConstraint("season_id", "organisation_id", "name"),)


class TeamCreate(TeamFacts, Input):
    """A team to register."""


@changes_of(TeamFacts, "name", "entry_class", "age_band", "size")
class TeamUpdate(Input):
    """What may change of a team."""


class TeamRead(TeamFacts, Answer):
    """A team as stored."""


class TeamQuery(NamedListQuery):
    """Which teams to list."""

    organisation_id: OrganisationId | None = None
    season_id: SeasonId | None = None
    name: Label | None = None
    entry_class: Label | None = None

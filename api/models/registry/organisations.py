"""An organisation: a school or club."""

from typing import ClassVar, Literal

from sqlmodel import Field as Column
from sqlmodel import SQLModel, String

from api.models.core.fields import Altitude, Label, Zone
from api.models.core.shapes import Answer, Input, PageQuery, Stored, changes_of

Sharing = Literal["own", "anonymous", "named"]


class OrganisationFacts(SQLModel):
    """The fields that all shapes of an organisation have."""

    name: Label = Column(unique=True)
    altitude_m: Altitude | None = None
    timezone: Zone | None = Column(default=None, description="Left out: the season's.")
    sharing: Sharing = Column(
        default="own",
        sa_type=String,
        description="Who sees its teams in comparisons: itself only, others without names, "
        "others with names.",
    )


class Organisation(OrganisationFacts, Stored, table=True):
    """A stored organisation."""

    __tablename__ = "organisation"
    prefix: ClassVar[str] = "org"


class OrganisationCreate(OrganisationFacts, Input):
    """An organisation to register."""


@changes_of(OrganisationFacts, "name", "altitude_m", "timezone", "sharing")
class OrganisationUpdate(Input):
    """What may change of an organisation."""


class OrganisationRead(OrganisationFacts, Answer):
    """An organisation as stored."""


class OrganisationQuery(PageQuery):
    """Which organisations to list."""

    name: Label | None = None
    sharing: Sharing | None = None

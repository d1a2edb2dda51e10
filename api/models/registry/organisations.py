"""An organisation: a school or club."""

from typing import ClassVar, Literal

from sqlmodel import Field as Column
from sqlmodel import SQLModel, String

from api.models.core.fields import Altitude, Label, Zone
from api.models.core.shapes import Answer, Input, NamedListQuery, Stored, changes_of

Sharing = Literal["own", "anonymous", "named"]
WindUnit = Literal["m_s", "km_h", "mph", "kn"]


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
    wind_unit: WindUnit = Column(
        default="m_s",
        sa_type=String,
        sa_column_kwargs={"server_default": "m_s"},
        description="The unit in which forms ask for wind, as the school's wind meter shows it. "
        "Stored speeds and this API's fields do not depend on it.",
    )


class Organisation(OrganisationFacts, Stored, table=True):
    """A stored organisation."""

    __tablename__ = "organisation"
    prefix: ClassVar[str] = "org"


class OrganisationCreate(OrganisationFacts, Input):
    """An organisation to register."""


@changes_of(OrganisationFacts, "name", "altitude_m", "timezone", "sharing", "wind_unit")
class OrganisationUpdate(Input):
    """What may change of an organisation."""


class OrganisationRead(OrganisationFacts, Answer):
    """An organisation as stored."""


class OrganisationQuery(NamedListQuery):
    """Which organisations to list."""

    name: Label | None = None
    sharing: Sharing | None = None

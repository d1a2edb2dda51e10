"""A season: the scope of every comparison."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator
from sqlmodel import Field as Column
from sqlmodel import SQLModel

from api.models.core.faults import fault
from api.models.core.fields import AirDensity, Data, Day, Label, ReferenceWindSpeed, Zone
from api.models.core.shapes import JSON_OR_NULL, Answer, Input, NamedListQuery, Stored, changes_of


class SeasonFacts(SQLModel):
    """The fields that all shapes of a season have."""

    name: Label = Column(unique=True)
    starts_on: Day
    ends_on: Day
    timezone: Zone = "UTC"
    reference_wind_speed_m_s: ReferenceWindSpeed = 4.0
    reference_air_density_kg_m3: AirDensity = 1.225
    rule_set: Data | None = Column(
        default=None, sa_type=JSON_OR_NULL, description="The event's rules as data."
    )


class Season(SeasonFacts, Stored, table=True):
    """A stored season."""

    __tablename__ = "season"
    prefix: ClassVar[str] = "sea"

    revision: int = 1


class SeasonCreate(SeasonFacts, Input):
    """A season to open."""

    @model_validator(mode="after")
    def ends_after_it_starts(self) -> "SeasonCreate":
        """Refuse a season that ends before it starts."""
        if self.ends_on < self.starts_on:
            raise fault("order", "fault.ends_before_start")
        return self


@changes_of(
    SeasonFacts,
    "name",
    "starts_on",
    "ends_on",
    "timezone",
    "reference_wind_speed_m_s",
    "reference_air_density_kg_m3",
    "rule_set",
)
class SeasonUpdate(Input):
    """What may change of a season."""


class SeasonRead(SeasonFacts, Answer):
    """A season as stored."""

    revision: Annotated[
        int, Field(description="Raised by every write that can change a report of the season.")
    ]


class CurrentSeason(SeasonRead):
    """The season that is meant where none is named."""

    chosen_by: Annotated[
        Literal["running", "latest_trial", "coming", "ended"],
        Field(description="Its days contain today, else it has the newest trial, else its dates."),
    ]
    sentence: Annotated[str, Field(description="The same in words.")]
    also_acting: Annotated[
        list[str], Field(description="Other seasons that run or have questions to answer.")
    ]


class SeasonQuery(NamedListQuery):
    """Which seasons to list."""

    name: Label | None = None

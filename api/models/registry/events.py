"""An event: where a season's teams meet, on one bench and in one wind."""

from datetime import datetime, time
from typing import ClassVar, Literal
from zoneinfo import ZoneInfo

from sqlmodel import Field as Column
from sqlmodel import SQLModel, String, UniqueConstraint

from api.models.core.fields import BestOf, Data, Day, Label, Note, WindSpeed
from api.models.core.ids import SeasonId
from api.models.core.shapes import JSON_OR_NULL, Answer, Input, NamedListQuery, Stored, changes_of

DriftDecision = Literal["corrected", "as_run"]


class EventFacts(SQLModel):
    """The fields that all shapes of an event have."""

    season_id: SeasonId = Column(foreign_key="season.id", index=True)
    name: Label
    held_on: Day
    place: Label | None = Column(default=None, description="A hall or a school, no address.")
    wind_speed_m_s: WindSpeed | None = Column(
        default=None, description="Planned wind; left out, the season's reference. [m/s]"
    )
    best_of: BestOf = Column(default=1, description="Of how many runs of a team the best counts.")
    drift_decision: DriftDecision | None = Column(
        default=None,
        sa_type=String,
        description="What officials decided where the reference rotor drifted by more than 6 %: "
        "corrected or as_run.",
    )
    rule_set: Data | None = Column(
        default=None,
        sa_type=JSON_OR_NULL,
        description="The event's rules as data; left out, the season's hold.",
    )
    note: Note | None = None


class Event(EventFacts, Stored, table=True):
    """A stored event; it is the programme's."""

    __tablename__ = "event"
    prefix: ClassVar[str] = "evt"
    __table_args__ = (UniqueConstraint("season_id", "name"),)

    def morning(self, timezone: str) -> datetime:
        """Return when the event's day begins, by the season's clock."""
        return datetime.combine(self.held_on, time.min, ZoneInfo(timezone))


class EventCreate(EventFacts, Input):
    """An event to announce."""


@changes_of(
    EventFacts,
    "name",
    "held_on",
    "place",
    "wind_speed_m_s",
    "best_of",
    "drift_decision",
    "rule_set",
    "note",
)
class EventUpdate(Input):
    """What may change of an event."""


class EventRead(EventFacts, Answer):
    """An event as stored."""


class EventQuery(NamedListQuery):
    """Which events to list."""

    season_id: SeasonId | None = None
    name: Label | None = None

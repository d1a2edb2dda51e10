"""A session: one evening at one bench, with its air and wind."""

from typing import Annotated, ClassVar, Literal

from pydantic import Field
from sqlmodel import Field as Column
from sqlmodel import SQLModel, UniqueConstraint

from api.models.core.fields import (
    AirTemperature,
    BenchDistance,
    Humidity,
    Label,
    Minutes,
    Moment,
    Note,
    Pressure,
    WindSpeed,
)
from api.models.core.ids import BenchId, EquipmentId, SeasonId
from api.models.core.shapes import ORDERED_BY, Answer, Input, PageQuery, Stored, changes_of

AdultPresent = Annotated[
    bool,
    Field(strict=True, description="Whether an adult was present at the fan all the time."),
]


class SessionFacts(SQLModel):
    """The fields that all shapes of a session have."""

    bench_id: BenchId = Column(foreign_key="bench.id", index=True)
    season_id: SeasonId = Column(foreign_key="season.id", index=True)
    started_at: Moment
    air_temperature_c: AirTemperature | None = None
    pressure_hpa: Pressure | None = None
    relative_humidity_pct: Humidity | None = None
    wind_speed_start_m_s: WindSpeed | None = Column(
        default=None, description="Without the rotor, before the first trial."
    )
    wind_speed_end_m_s: WindSpeed | None = Column(
        default=None, description="Without the rotor, after the last trial."
    )
    warm_up_min: Minutes | None = None
    adult_present: AdultPresent
    meter_id: EquipmentId | None = Column(default=None, foreign_key="equipment.id", index=True)
    fan_setting_used: Label | None = Column(
        default=None, description="As found that day; another than the bench's holds the session."
    )
    distance_used_m: BenchDistance | None = Column(
        default=None, description="As measured that day; more than 1 cm off holds the session. [m]"
    )
    note: Note | None = None


class BenchSession(SessionFacts, Stored, table=True):
    """A stored session; `organisation_id` is its bench's."""

    __tablename__ = "session"
    prefix: ClassVar[str] = "ses"
    __table_args__ = (UniqueConstraint("bench_id", "season_id", "started_at"),)

    organisation_id: str = Column(foreign_key="organisation.id", index=True)


class SessionCreate(SessionFacts, Input):
    """A session to open."""


@changes_of(
    SessionFacts,
    "air_temperature_c",
    "pressure_hpa",
    "relative_humidity_pct",
    "wind_speed_start_m_s",
    "wind_speed_end_m_s",
    "warm_up_min",
    "adult_present",
    "meter_id",
    "fan_setting_used",
    "distance_used_m",
    "note",
)
class SessionUpdate(Input):
    """What may change of a session."""


class SessionRead(SessionFacts, Answer):
    """A session as stored."""

    organisation_id: str


class SessionQuery(PageQuery):
    """Which sessions to list."""

    organisation_id: str | None = None
    bench_id: BenchId | None = None
    season_id: SeasonId | None = None
    sort: Annotated[
        Literal["created_at", "-created_at", "started_at", "-started_at"],
        Field(description=ORDERED_BY),
    ] = "created_at"

"""A bench: fan, setting, distance, wind meter and room, which cause its bench bias."""

from datetime import datetime
from typing import Annotated, Any, ClassVar

from pydantic import Field
from sqlalchemy import JSON
from sqlmodel import Field as Column
from sqlmodel import SQLModel, UniqueConstraint

from api.models.core.fields import (
    BenchDistance,
    Duration,
    GridRadius,
    HubHeight,
    Label,
    Moment,
    Note,
    TunnelArea,
    WindSpeed,
)
from api.models.core.ids import BenchId, EquipmentId, OrganisationId
from api.models.core.shapes import Answer, Input, NamedListQuery, Stored, changes_of


class BenchFacts(SQLModel):
    """The fields that all shapes of a bench have."""

    organisation_id: OrganisationId = Column(foreign_key="organisation.id", index=True)
    name: Label
    room: Label | None = None
    fan_id: EquipmentId = Column(foreign_key="equipment.id", index=True)
    fan_setting: Label = Column(description="As on the fan's switch, such as '2'.")
    distance_m: BenchDistance
    hub_height_m: HubHeight | None = None
    anemometer_id: EquipmentId = Column(foreign_key="equipment.id", index=True)
    tunnel_area_m2: TunnelArea | None = None
    note: Note | None = None


class Bench(BenchFacts, Stored, table=True):
    """A stored bench."""

    __tablename__ = "bench"
    prefix: ClassVar[str] = "bch"
    __table_args__ = (UniqueConstraint("organisation_id", "name"),)


class BenchCreate(BenchFacts, Input):
    """A bench to register."""


@changes_of(
    BenchFacts,
    "name",
    "room",
    "fan_id",
    "fan_setting",
    "distance_m",
    "hub_height_m",
    "anemometer_id",
    "tunnel_area_m2",
    "note",
)
class BenchUpdate(Input):
    """What may change of a bench; once tests were run there, not what makes it this bench."""


class GridPoint(Input):
    """The wind at one point of the rotor plane, measured without the rotor."""

    x_radii: GridRadius
    y_radii: GridRadius
    wind_speed_m_s: WindSpeed
    duration_s: Duration | None = None


class WindGridCreate(Input):
    """Wind measured at points of the rotor plane."""

    points: Annotated[list[GridPoint], Field(min_length=1, max_length=100)]
    monitor_wind_speed_m_s: Annotated[
        WindSpeed | None,
        Field(
            description="What the fixed monitor point showed meanwhile. With it, later sessions "
            "give the monitor's reading as their wind speed. [m/s]"
        ),
    ] = None
    measured_at: Moment | None = None
    note: Note | None = None


class WindGridOfBench(WindGridCreate):
    """Wind measured at one of several benches."""

    bench_id: BenchId


class WindGrid(Stored, table=True):
    """A stored wind grid; the newest of a bench is the one that counts."""

    __tablename__ = "wind_grid"
    prefix: ClassVar[str] = "grid"

    organisation_id: str = Column(foreign_key="organisation.id", index=True)
    bench_id: str = Column(foreign_key="bench.id", index=True)
    points: list[dict[str, Any]] = Column(sa_type=JSON)
    point_count: int
    equivalent_wind_speed_m_s: float
    unevenness: float
    monitor_wind_speed_m_s: float | None = None
    measured_at: datetime | None = None
    note: str | None = None


class WindGridRead(Answer):
    """A wind grid with what follows from it."""

    bench_id: str
    points: list[dict[str, Any]]
    point_count: int
    equivalent_wind_speed_m_s: Annotated[
        float, Field(description="The even wind of the same power over the rotor plane. [m/s]")
    ]
    unevenness: Annotated[
        float, Field(description="Standard deviation over mean; above 0.15 the jet is uneven. [-]")
    ]
    monitor_wind_speed_m_s: float | None
    measured_at: datetime | None
    note: str | None


class BenchRead(BenchFacts, Answer):
    """A bench as stored."""


class BenchQuery(NamedListQuery):
    """Which benches to list."""

    organisation_id: OrganisationId | None = None
    name: Label | None = None
    fan_id: EquipmentId | None = None
    anemometer_id: EquipmentId | None = None

"""A turbine: a team's machine, or the programme's reference rotor."""

from typing import ClassVar

from sqlmodel import Field as Column
from sqlmodel import SQLModel, UniqueConstraint

from api.models.core.fields import GearRatio, HubHeight, Label, TowerMass, TowerSide
from api.models.core.ids import EquipmentId, TeamId
from api.models.core.shapes import (
    Answer,
    Input,
    NamedListQuery,
    Stored,
    changes_of,
    unique_where_null,
)


class TurbineFacts(SQLModel):
    """The fields that all shapes of a turbine have."""

    team_id: TeamId | None = Column(
        foreign_key="team.id", index=True, description="Null for a reference rotor."
    )
    name: Label
    rotor_id: EquipmentId | None = Column(
        default=None,
        foreign_key="equipment.id",
        index=True,
        description="For a reference rotor: its place in the equipment list.",
    )
    generator_id: EquipmentId | None = Column(default=None, foreign_key="equipment.id", index=True)
    gear_ratio: GearRatio = 1.0
    tower_side_m: TowerSide | None = None
    tower_mass_kg: TowerMass | None = None
    hub_height_m: HubHeight | None = None


class Turbine(TurbineFacts, Stored, table=True):
    """A stored turbine; `organisation_id` is its team's, null for a reference rotor."""

    __tablename__ = "turbine"
    prefix: ClassVar[str] = "turb"
    __table_args__ = (
        UniqueConstraint("team_id", "name"),
        unique_where_null("turbine", "team_id", "name"),
    )

    organisation_id: str | None = Column(default=None, foreign_key="organisation.id", index=True)


class TurbineCreate(TurbineFacts, Input):
    """A turbine to register."""


@changes_of(
    TurbineFacts,
    "name",
    "rotor_id",
    "generator_id",
    "gear_ratio",
    "tower_side_m",
    "tower_mass_kg",
    "hub_height_m",
)
class TurbineUpdate(Input):
    """What may change of a turbine."""


class TurbineRead(TurbineFacts, Answer):
    """A turbine as stored."""

    organisation_id: str | None


class TurbineQuery(NamedListQuery):
    """Which turbines to list."""

    organisation_id: str | None = None
    team_id: TeamId | None = None
    name: Label | None = None

"""Equipment: items that can be lent, with their data sheets."""

from datetime import date
from typing import Annotated, ClassVar, Literal

from pydantic import Field
from sqlalchemy import JSON
from sqlmodel import Field as Column
from sqlmodel import SQLModel, String, UniqueConstraint

from api.models.core.fields import Data, Day, Label, Load, Note, Spares, _count, _number
from api.models.core.ids import OrganisationId
from api.models.core.shapes import Answer, Input, ListQuery, Stored, changes_of, unique_where_null

EquipmentKind = Literal[
    "generator", "meter", "anemometer", "load", "fan", "reference_rotor", "other"
]


Condition = Literal["good", "worn", "broken"]


class GeneratorSpec(Input):
    """A generator's constants, at its own shaft."""

    emf_constant_v_s_rad: (
        Annotated[float, _number(1e-4, 5, "V·s/rad", "Voltage per speed.")] | None
    ) = None
    winding_resistance_ohm: (
        Annotated[float, _number(0.02, 5000, "Ω", "Winding and brushes.")] | None
    ) = None
    brush_drop_v: Annotated[float, _number(0, 2, "V", "Voltage lost at both brushes.")] | None = (
        None
    )
    generator_class: Label | None = Field(default=None, alias="class")


class MeterSpec(Input):
    """A meter's accuracy as its data sheet states it."""

    counts: Annotated[int, _count(99, 10_000_000, "Largest number shown, such as 1999.")] | None = (
        None
    )
    percent: Annotated[float, _number(0, 50, "%", "Share of the reading.")] | None = None
    digits: Annotated[float, _number(0, 1000, "counts", "Counts of the last digit.")] | None = None


class AnemometerSpec(Input):
    """What kind of wind meter it is, which tells how far to trust it."""

    type: Literal["vane", "hot_wire", "cup", "pitot", "spec_sheet", "none"] | None = None
    checked_on: Annotated[
        Day | None, Field(description="When it was last compared with another meter.")
    ] = None


class LoadSpec(Input):
    """A load resistor."""

    nominal_ohm: Load | None = None
    measured_ohm: Load | None = None
    tolerance_pct: Annotated[float, _number(0, 50, "%", "Printed tolerance.")] | None = None
    rated_power_w: Annotated[float, _number(0.01, 1000, "W", "Rated power.")] | None = None


class FanSpec(Input):
    """A fan."""

    diameter_m: Annotated[float, _number(0.08, 1.5, "m", "Diameter of the blades.")] | None = None


class PlainSpec(Input):
    """A thing without a data sheet here."""


SPECS: dict[str, type[Input]] = {
    "generator": GeneratorSpec,
    "meter": MeterSpec,
    "anemometer": AnemometerSpec,
    "load": LoadSpec,
    "fan": FanSpec,
    "reference_rotor": PlainSpec,
    "other": PlainSpec,
}


class EquipmentFacts(SQLModel):
    """The fields that all shapes of a piece of equipment have."""

    organisation_id: OrganisationId | None = Column(
        default=None,
        foreign_key="organisation.id",
        index=True,
        description="Whose it is; null is the programme's own.",
    )
    kind: EquipmentKind = Column(sa_type=String)
    tag: Label = Column(description="What is written on it.")
    spec: Data = Column(
        default_factory=dict,
        sa_type=JSON,
        description="By kind. fan: diameter_m; anemometer: type (vane, hot_wire, cup, pitot, "
        "spec_sheet, none), checked_on; meter: counts, percent, digits; load: nominal_ohm, "
        "measured_ohm, tolerance_pct, rated_power_w; generator: emf_constant_v_s_rad, "
        "winding_resistance_ohm, brush_drop_v, class.",
    )
    condition: Condition = Column(default="good", sa_type=String)
    spares: Spares = Column(default=0, description="Spare parts that belong to it.")
    note: Note | None = None


class Equipment(EquipmentFacts, Stored, table=True):
    """A stored piece of equipment."""

    __tablename__ = "equipment"
    prefix: ClassVar[str] = "eqp"
    __table_args__ = (
        UniqueConstraint("organisation_id", "tag"),
        unique_where_null("equipment", "organisation_id", "tag"),
    )

    retired_on: date | None = None


class EquipmentCreate(EquipmentFacts, Input):
    """A piece of equipment to register."""


@changes_of(EquipmentFacts, "tag", "spec", "condition", "spares", "note")
class EquipmentUpdate(Input):
    """What may change of a piece of equipment."""


class EquipmentRead(EquipmentFacts, Answer):
    """A piece of equipment as stored, and where it is."""

    retired_on: Annotated[
        date | None, Field(description="Since when a broken reference rotor counts no more.")
    ]
    is_lent: bool
    holder_id: Annotated[
        str | None,
        Field(description="Who has it now; null for the programme, and for a school beyond reach."),
    ]
    due_on: Annotated[date | None, Field(description="When it is to be back, if it is lent.")]
    days_overdue: int


class EquipmentQuery(ListQuery):
    """Which equipment to list."""

    organisation_id: OrganisationId | None = None
    kind: EquipmentKind | None = None
    tag: Label | None = None

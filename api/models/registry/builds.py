"""A build: one numbered state of a turbine; a change makes a new one."""

from datetime import datetime
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field
from sqlmodel import Field as Column
from sqlmodel import SQLModel, String, UniqueConstraint

from api.models.core.fields import (
    AssignedPower,
    BalanceRadius,
    BladeCount,
    BladeMass,
    BuildNumber,
    Chord,
    Label,
    Load,
    Note,
    Pitch,
    RotorDiameter,
)
from api.models.core.ids import BenchId, BuildId, SeasonId, TeamId, TurbineId
from api.models.core.shapes import Answer, Input, ListQuery, Stored, changes_of

BladeFixing = Literal["screwed", "pinned", "glued", "moulded", "push_fit"]


class BuildFacts(SQLModel):
    """The fields that all shapes of a build have."""

    turbine_id: TurbineId = Column(foreign_key="turbine.id", index=True)
    parent_build_id: BuildId | None = Column(
        default=None, foreign_key="build.id", index=True, description="The build it came from."
    )
    changed_factor: Label | None = Column(
        default=None, description="The one thing that changed, such as 'pitch' or 'blade count'."
    )
    rotor_diameter_m: RotorDiameter
    blade_count: BladeCount
    chord_root_m: Chord | None = None
    chord_tip_m: Chord | None = None
    blade_mass_kg: BladeMass | None = None
    blade_balance_radius_m: BalanceRadius | None = Column(
        default=None, description="From the shaft's axis to a blade's balance point. [m]"
    )
    blade_fixing: BladeFixing | None = Column(
        default=None, sa_type=String, description="A push fit alone is not accepted as safe."
    )
    material: Label | None = None
    pitch_deg: Pitch | None = None
    load_ohm: Load | None = None
    assigned_power_w: AssignedPower | None = Column(
        default=None, description="For a reference rotor: its power at the reference. [W]"
    )
    note: Note | None = None


class Build(BuildFacts, Stored, table=True):
    """A stored build; `organisation_id` is its turbine's."""

    __tablename__ = "build"
    prefix: ClassVar[str] = "bld"
    __table_args__ = (UniqueConstraint("turbine_id", "number"),)

    organisation_id: str | None = Column(default=None, foreign_key="organisation.id", index=True)
    number: int


class BuildCreate(BuildFacts, Input):
    """A build to register."""

    number: Annotated[
        BuildNumber | None, Field(description="Left out: the next one of the turbine.")
    ] = None


@changes_of(
    BuildFacts,
    "changed_factor",
    "rotor_diameter_m",
    "blade_count",
    "chord_root_m",
    "chord_tip_m",
    "blade_mass_kg",
    "blade_balance_radius_m",
    "blade_fixing",
    "material",
    "pitch_deg",
    "load_ohm",
    "assigned_power_w",
    "note",
)
class BuildUpdate(Input):
    """What may be corrected on a build; a real change of the turbine is a new build."""


class BuildRead(BuildFacts, Answer):
    """A build as stored."""

    organisation_id: str | None
    number: int


class BuildQuery(ListQuery):
    """Which builds to list."""

    organisation_id: str | None = None
    team_id: TeamId | None = None
    turbine_id: TurbineId | None = None
    number: BuildNumber | None = None

    def column_filters(self) -> dict[str, Any]:
        """Return the filters by columns of builds, which have no team of their own."""
        return {name: value for name, value in self.filters().items() if name != "team_id"}


class Assigning(Input):
    """Where a reference rotor's power is taken from: a season's trials at the coach's bench."""

    bench_id: BenchId
    season_id: Annotated[
        SeasonId | None, Field(description="Left out: the one season it ran in at this bench.")
    ] = None


class Assigned(SQLModel):
    """The power that a reference rotor was assigned."""

    build_id: str
    version: int
    assigned_power_w: Annotated[float, Field(description="At the season's reference. [W]")]
    u: Annotated[float, Field(description="Relative standard uncertainty, from days. [-]")]
    runs: int
    days: int
    assigned_at: datetime

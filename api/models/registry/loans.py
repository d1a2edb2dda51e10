"""Loans of equipment, and comparisons of instruments."""

from datetime import date
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field, model_validator
from sqlalchemy import JSON, Index, text
from sqlmodel import Field as Column
from sqlmodel import SQLModel, String

from api.models.core.faults import fault
from api.models.core.fields import Day, Label, Note, PairReading, Spares
from api.models.core.ids import EquipmentId, OrganisationId
from api.models.core.shapes import Answer, Input, ListQuery, Stored
from api.models.registry.equipment import Condition

MOST_PAIRS = 50


class LoanFacts(SQLModel):
    """The fields that all shapes of a loan have."""

    organisation_id: OrganisationId = Column(
        foreign_key="organisation.id", index=True, description="Who borrows it."
    )
    lent_on: Day
    due_on: Day = Column(description="When it is to be back; not before it goes out.")
    condition_out: Condition = Column(default="good", sa_type=String)
    spares_out: Spares = 0
    signed_by: Label | None = Column(
        default=None, description="Role of the adult who signed, such as 'science teacher'."
    )
    note: Note | None = None


class Loan(LoanFacts, Stored, table=True):
    """A stored loan; `owner_id` is the equipment's organisation, null for the programme's own."""

    __tablename__ = "loan"
    prefix: ClassVar[str] = "loan"
    __table_args__ = (
        Index(
            "uq_loan_running",
            "equipment_id",
            unique=True,
            sqlite_where=text("returned_on IS NULL"),
            postgresql_where=text("returned_on IS NULL"),
        ),
    )

    equipment_id: str = Column(foreign_key="equipment.id", index=True)
    owner_id: str | None = Column(default=None, foreign_key="organisation.id", index=True)
    returned_on: date | None = Column(default=None, index=True)
    condition_in: str | None = None
    spares_in: int | None = None


class LoanCreate(LoanFacts, Input):
    """A piece of equipment going out."""

    @model_validator(mode="after")
    def comes_back_later(self) -> "LoanCreate":
        """Refuse a loan that is due before it begins."""
        if self.due_on < self.lent_on:
            raise fault("due_before_lent", "fault.due_before_lent")
        return self


class LoanOfEquipment(LoanCreate):
    """One of several pieces of equipment going out."""

    equipment_id: EquipmentId


class Returning(Input):
    """A piece of equipment coming back."""

    returned_on: Day
    condition_in: Condition = "good"
    spares_in: Spares | None = None
    note: Note | None = None


class LoanRead(LoanFacts, Answer):
    """A loan as it stands."""

    equipment_id: str
    tag: Annotated[str, Field(description="What is written on the equipment.")]
    owner_id: str | None
    returned_on: date | None
    condition_in: str | None
    spares_in: int | None
    days_overdue: Annotated[int, Field(description="0 while it is not.")]


class LoanQuery(ListQuery):
    """Which loans to list."""

    organisation_id: OrganisationId | None = None
    equipment_id: EquipmentId | None = None
    state: Annotated[
        Literal["open", "overdue", "returned"] | None, Field(description="Left out: all.")
    ] = None

    def filters(self) -> dict[str, Any]:
        """Return the filters of the list, without its state."""
        return {name: value for name, value in super().filters().items() if name != "state"}


class ReadingPair(Input):
    """Two instruments at the same time, in the same unit."""

    reading: PairReading
    reference: PairReading


class CheckCreate(Input):
    """An instrument compared with another, reading by reading."""

    checked_on: Day
    against_id: EquipmentId | None = None
    pairs: Annotated[list[ReadingPair], Field(min_length=1, max_length=MOST_PAIRS)]
    note: Note | None = None


class InstrumentCheck(Stored, table=True):
    """A stored comparison; `organisation_id` is the equipment's."""

    __tablename__ = "instrument_check"
    prefix: ClassVar[str] = "chk"

    organisation_id: str | None = Column(default=None, foreign_key="organisation.id", index=True)
    equipment_id: str = Column(foreign_key="equipment.id", index=True)
    against_id: str | None = Column(default=None, foreign_key="equipment.id", index=True)
    checked_on: date
    pairs: list[dict[str, Any]] = Column(sa_type=JSON)
    note: str | None = None


class CheckRead(Answer):
    """A comparison and what follows from it."""

    equipment_id: str
    against_id: str | None
    checked_on: date
    pairs: list[dict[str, Any]]
    note: str | None
    ratio: Annotated[float, Field(description="Its readings over the other's. [-]")]
    u_ratio: Annotated[
        float | None, Field(description="Relative standard uncertainty; null for one pair. [-]")
    ]
    verdict: Annotated[str, Field(description="fine within 5 %, look beyond.")]
    sentence: str

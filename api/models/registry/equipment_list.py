"""The equipment list as a report."""

from datetime import date, datetime
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from api.models.core.fields import ReportFormat
from api.models.core.ids import OrganisationId


class ListedItem(BaseModel):
    """One piece of equipment."""

    equipment_id: str
    tag: str
    kind: str
    owner: Annotated[str, Field(description="Whose it is.")]
    where: Annotated[str, Field(description="Who has it, as far as the key may know.")]
    due_on: date | None
    days_overdue: int
    condition: str
    retired_on: date | None
    spares: int
    checked: Annotated[str, Field(description="Last comparison and its ratio, in words.")]


class EquipmentList(BaseModel):
    """All equipment that a key may see."""

    as_of: datetime
    items: list[ListedItem]
    lent: int
    overdue: int


class EquipmentListQuery(BaseModel):
    """Which equipment, and in which format."""

    model_config = ConfigDict(extra="forbid")

    organisation_id: OrganisationId | None = None
    format: Annotated[
        ReportFormat | None,
        Field(description="Left out, Accept decides."),
    ] = None
    excel: Annotated[bool, Field(description="Begin the CSV with a byte order mark.")] = False

"""Equipment over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query
from sqlmodel import Session
from starlette.responses import Response

from api.bodies import BATCH_BYTES
from api.deps import Change, Read, Write
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.models.core.shapes import ListQuery
from api.models.registry.equipment import (
    EquipmentCreate,
    EquipmentQuery,
    EquipmentRead,
    EquipmentUpdate,
)
from api.models.registry.loans import (
    CheckCreate,
    CheckRead,
    LoanCreate,
    LoanOfEquipment,
    LoanQuery,
    LoanRead,
    Returning,
)
from api.routes.contract import CHANGE, LIST, SHOW, WRITE, StrictRoute
from api.services.core.pages import Rest
from api.services.core.scope import Caller
from api.services.registry import equipment, instruments, loans

router = APIRouter(prefix="/equipment", tags=["equipment"], route_class=StrictRoute)
loans_router = APIRouter(prefix="/loans", tags=["equipment"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=EquipmentRead, responses=WRITE)
def create_equipment(item: EquipmentCreate, write: Write) -> Response:
    """Register a piece of equipment with its data sheet."""
    return write.created(equipment.create, item)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[EquipmentRead],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_equipment(batch: Batch[EquipmentCreate], write: Write) -> Response:
    """Register several pieces of equipment: all of them, or none."""
    return write.created_together(equipment.create, batch)


@router.get("", response_model=Page[EquipmentRead], responses=LIST)
def list_equipment(query: Annotated[EquipmentQuery, Query()], read: Read) -> Response:
    """List equipment that the key may see, oldest first."""
    return read.page(equipment.page, query)


@router.get("/{equipment_id}", response_model=EquipmentRead, responses=SHOW)
def get_equipment(equipment_id: str, read: Read) -> Response:
    """Show a piece of equipment."""
    return read.one(equipment.get, equipment_id)


@router.patch("/{equipment_id}", response_model=EquipmentRead, responses=CHANGE)
def change_equipment(equipment_id: str, changes: EquipmentUpdate, write: Change) -> Response:
    """Change a piece of equipment; its data sheet moves the results that rest on it."""
    return write.changed(equipment.change, equipment_id, changes)


@router.post("/{equipment_id}/loans", status_code=201, response_model=LoanRead, responses=WRITE)
def lend_equipment(equipment_id: str, loan: LoanCreate, write: Write) -> Response:
    """Lend a piece of equipment to a school, until a day, with its spares."""

    def lend(db: Session, caller: Caller, loan_facts: LoanCreate) -> LoanRead:
        return loans.lend(db, caller, equipment_id, loan_facts)

    return write.created(lend, loan)


@router.get("/{equipment_id}/loans", response_model=Page[LoanRead], responses=SHOW)
def list_equipment_loans(
    equipment_id: str, query: Annotated[ListQuery, Query()], read: Read
) -> Response:
    """List who had a piece of equipment, oldest first."""

    def listed(db: Session, caller: Caller, asked: ListQuery) -> tuple[list[LoanRead], Rest]:
        return loans.of_item(db, caller, equipment_id, asked)

    return read.page(listed, query)


@router.post("/{equipment_id}/loans/{loan_id}/return", response_model=LoanRead, responses=WRITE)
def return_equipment(
    equipment_id: str, loan_id: str, returning: Returning, write: Write
) -> Response:
    """Take a piece of equipment back; a reference rotor that comes back broken is retired."""

    def take_back(db: Session, caller: Caller, row_id: str, returning_facts: Returning) -> LoanRead:
        return loans.take_back(db, caller, equipment_id, row_id, returning_facts)

    return write.done(take_back, loan_id, returning)


@router.post("/{equipment_id}/checks", status_code=201, response_model=CheckRead, responses=WRITE)
def check_equipment(equipment_id: str, check: CheckCreate, write: Write) -> Response:
    """Compare an instrument with another, in pairs of readings; answers their ratio."""

    def compare(db: Session, caller: Caller, comparison: CheckCreate) -> CheckRead:
        return instruments.check(db, caller, equipment_id, comparison)

    return write.created(compare, check)


@router.get("/{equipment_id}/checks", response_model=Page[CheckRead], responses=SHOW)
def list_equipment_checks(
    equipment_id: str, query: Annotated[ListQuery, Query()], read: Read
) -> Response:
    """List the comparisons of an instrument, oldest first."""

    def listed(db: Session, caller: Caller, asked: ListQuery) -> tuple[list[CheckRead], Rest]:
        return instruments.page(db, caller, equipment_id, asked)

    return read.page(listed, query)


@loans_router.get("", response_model=Page[LoanRead], responses=LIST)
def list_loans(query: Annotated[LoanQuery, Query()], read: Read) -> Response:
    """List loans: all, or those that are open, overdue or returned."""
    return read.page(loans.page, query)


@loans_router.post(
    "/batch",
    status_code=201,
    response_model=Batch[LoanRead],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_loans(batch: Batch[LoanOfEquipment], write: Write) -> Response:
    """Lend several pieces of equipment: all of them, or none."""

    def lend(db: Session, caller: Caller, loan: LoanOfEquipment) -> LoanRead:
        return loans.lend(db, caller, loan.equipment_id, loan)

    return write.created_together(lend, batch)

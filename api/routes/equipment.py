"""Equipment over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.deps import Change, Read, Write
from api.models.equipment import EquipmentCreate, EquipmentQuery, EquipmentRead, EquipmentUpdate
from api.models.pages import Page
from api.routes.contract import CHANGE, LIST, READ, WRITE, StrictRoute
from api.services import equipment

router = APIRouter(prefix="/equipment", tags=["equipment"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=EquipmentRead, responses=WRITE)
def create_equipment(item: EquipmentCreate, write: Write) -> Response:
    """Register a piece of equipment with its data sheet."""
    return write.created(equipment.create, item)


@router.get("", response_model=Page[EquipmentRead], responses=LIST)
def list_equipment(query: Annotated[EquipmentQuery, Query()], read: Read) -> Response:
    """List equipment that the key may see, oldest first."""
    return read.page(equipment.page, query)


@router.get("/{equipment_id}", response_model=EquipmentRead, responses=READ)
def get_equipment(equipment_id: str, read: Read) -> Response:
    """Show a piece of equipment."""
    return read.one(equipment.get, equipment_id)


@router.patch("/{equipment_id}", response_model=EquipmentRead, responses=CHANGE)
def change_equipment(equipment_id: str, changes: EquipmentUpdate, write: Change) -> Response:
    """Change a piece of equipment; its data sheet moves the results that rest on it."""
    return write.changed(equipment.change, equipment_id, changes)

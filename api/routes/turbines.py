"""Turbines over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.bodies import BATCH_BYTES
from api.deps import Change, Read, Write
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.models.registry.turbines import TurbineCreate, TurbineQuery, TurbineRead, TurbineUpdate
from api.routes.contract import CHANGE, LIST, SHOW, WRITE, StrictRoute
from api.services.registry import turbines

router = APIRouter(prefix="/turbines", tags=["turbines"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=TurbineRead, responses=WRITE)
def create_turbine(turbine: TurbineCreate, write: Write) -> Response:
    """Register a team's turbine, or (a lead, with team_id null) a reference rotor."""
    return write.created(turbines.create, turbine)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[TurbineRead],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_turbines(batch: Batch[TurbineCreate], write: Write) -> Response:
    """Register several turbines: all of them, or none."""
    return write.created_together(turbines.create, batch)


@router.get("", response_model=Page[TurbineRead], responses=LIST)
def list_turbines(query: Annotated[TurbineQuery, Query()], read: Read) -> Response:
    """List turbines that the key may see, oldest first."""
    return read.page(turbines.page, query)


@router.get("/{turbine_id}", response_model=TurbineRead, responses=SHOW)
def get_turbine(turbine_id: str, read: Read) -> Response:
    """Show a turbine."""
    return read.one(turbines.get, turbine_id)


@router.patch("/{turbine_id}", response_model=TurbineRead, responses=CHANGE)
def change_turbine(turbine_id: str, changes: TurbineUpdate, write: Change) -> Response:
    """Change a turbine."""
    return write.changed(turbines.change, turbine_id, changes)

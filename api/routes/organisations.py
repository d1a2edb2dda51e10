"""Organisations over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.bodies import BATCH_BYTES
from api.deps import Change, Read, WriteLead
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.models.registry.organisations import (
    OrganisationCreate,
    OrganisationQuery,
    OrganisationRead,
    OrganisationUpdate,
)
from api.routes.contract import CHANGE, LIST, SHOW, STORE, StrictRoute
from api.services.registry import organisations

router = APIRouter(prefix="/organisations", tags=["organisations"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=OrganisationRead, responses=STORE)
def create_organisation(organisation: OrganisationCreate, write: WriteLead) -> Response:
    """Register a school or club."""
    return write.created(organisations.create, organisation)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[OrganisationRead],
    responses=STORE,
    max_body_size=BATCH_BYTES,
)
def create_many_organisations(batch: Batch[OrganisationCreate], write: WriteLead) -> Response:
    """Register several schools or clubs: all of them, or none."""
    return write.created_together(organisations.create, batch)


@router.get("", response_model=Page[OrganisationRead], responses=LIST)
def list_organisations(query: Annotated[OrganisationQuery, Query()], read: Read) -> Response:
    """List organisations that the key may see, oldest first."""
    return read.page(organisations.page, query)


@router.get("/{organisation_id}", response_model=OrganisationRead, responses=SHOW)
def get_organisation(organisation_id: str, read: Read) -> Response:
    """Show an organisation."""
    return read.one(organisations.get, organisation_id)


@router.patch("/{organisation_id}", response_model=OrganisationRead, responses=CHANGE)
def change_organisation(
    organisation_id: str, changes: OrganisationUpdate, write: Change
) -> Response:
    """Change an organisation; its altitude moves densities without a barometer."""
    return write.changed(organisations.change, organisation_id, changes)

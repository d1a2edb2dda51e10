"""Builds over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from sqlmodel import Session
from starlette.responses import Response

from api.bodies import BATCH_BYTES
from api.deps import Change, Read, Write, WriteLead, database
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.models.registry.builds import (
    Assigned,
    Assigning,
    BuildCreate,
    BuildQuery,
    BuildRead,
    BuildUpdate,
)
from api.models.registry.safety import SafetyQuery, SafetyRead
from api.routes.contract import CHANGE, LIST, READ, SHOW, WRITE, StrictRoute, private_json
from api.services.access.idempotency import Answered
from api.services.core.scope import Caller
from api.services.registry import builds, reference_rotors, safety

router = APIRouter(prefix="/builds", tags=["builds"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=BuildRead, responses=WRITE)
def create_build(build: BuildCreate, write: Write) -> Response:
    """Register the next state of a turbine: one change, one build."""
    return write.created(builds.create, build)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[BuildRead],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_builds(batch: Batch[BuildCreate], write: Write) -> Response:
    """Register several builds: all of them, or none."""
    return write.created_together(builds.create, batch)


@router.get("", response_model=Page[BuildRead], responses=LIST)
def list_builds(query: Annotated[BuildQuery, Query()], read: Read) -> Response:
    """List builds that the key may see, oldest first."""
    return read.page(builds.page, query)


@router.get("/{build_id}", response_model=BuildRead, responses=SHOW)
def get_build(build_id: str, read: Read) -> Response:
    """Show a build."""
    return read.one(builds.get, build_id)


@router.patch("/{build_id}", response_model=BuildRead, responses=CHANGE)
def change_build(build_id: str, changes: BuildUpdate, write: Change) -> Response:
    """Correct a build; its trials are computed and checked again."""
    return write.changed(builds.change, build_id, changes)


@router.post("/{build_id}/assigned-power", response_model=Assigned, responses=WRITE)
def assign_power(build_id: str, assigning: Assigning, write: WriteLead) -> Response:
    """Assign a reference rotor its power: from ten runs on three days at one bench, once."""

    def assign(db: Session, caller: Caller) -> Answered:
        done = reference_rotors.assign(db, caller, build_id, assigning)
        return Answered(200, done.model_dump_json())

    return write.run(assign)


@router.get("/{build_id}/safety", response_model=SafetyRead, responses=READ)
def get_build_safety(
    build_id: str, query: Annotated[SafetyQuery, Query()], request: Request, read: Read
) -> Response:
    """Tell what a build does when its load falls off: speeds, pull on a blade, and its tower."""
    with database(request).reading() as db:
        shown = safety.of_build(db, read.caller, build_id, query)
    return private_json(shown)

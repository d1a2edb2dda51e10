"""Seasons over HTTP."""

from datetime import UTC, datetime
from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.bodies import BATCH_BYTES
from api.deps import ChangeLead, Read, WriteLead, database
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.models.registry.seasons import (
    CurrentSeason,
    SeasonCreate,
    SeasonQuery,
    SeasonRead,
    SeasonUpdate,
)
from api.routes.contract import CHANGE, LIST, READ, SHOW, STORE, StrictRoute
from api.services.registry import season_choice, seasons

router = APIRouter(prefix="/seasons", tags=["seasons"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=SeasonRead, responses=STORE)
def create_season(season: SeasonCreate, write: WriteLead) -> Response:
    """Open a season, the scope of every comparison."""
    return write.created(seasons.create, season)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[SeasonRead],
    responses=STORE,
    max_body_size=BATCH_BYTES,
)
def create_many_seasons(batch: Batch[SeasonCreate], write: WriteLead) -> Response:
    """Open several seasons: all of them, or none."""
    return write.created_together(seasons.create, batch)


@router.get("", response_model=Page[SeasonRead], responses=LIST)
def list_seasons(query: Annotated[SeasonQuery, Query()], read: Read) -> Response:
    """List seasons that the key may see, oldest first."""
    return read.page(seasons.page, query)


@router.get("/current", response_model=CurrentSeason, responses=READ)
def get_current_season(request: Request, read: Read) -> Response:
    """Show the season that is meant where none is named: the running one, and why it was chosen.

    Where none runs it is the one with the newest trial, and never an empty one that comes later.
    """
    with database(request).reading() as db:
        current = season_choice.current(db, read.caller, datetime.now(UTC))
    headers = {"Cache-Control": "private, no-cache"}
    return Response(current.model_dump_json(), media_type="application/json", headers=headers)


@router.get("/{season_id}", response_model=SeasonRead, responses=SHOW)
def get_season(season_id: str, read: Read) -> Response:
    """Show a season."""
    return read.one(seasons.get, season_id)


@router.patch("/{season_id}", response_model=SeasonRead, responses=CHANGE)
def change_season(season_id: str, changes: SeasonUpdate, write: ChangeLead) -> Response:
    """Change a season; a new reference moves all its normalised powers."""
    return write.changed(seasons.change, season_id, changes)

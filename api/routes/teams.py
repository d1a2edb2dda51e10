"""Teams over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.bodies import BATCH_BYTES
from api.deps import Change, Read, Write
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.models.registry.teams import TeamCreate, TeamQuery, TeamRead, TeamUpdate
from api.routes.contract import CHANGE, LIST, SHOW, WRITE, StrictRoute
from api.services.registry import teams

router = APIRouter(prefix="/teams", tags=["teams"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=TeamRead, responses=WRITE)
def create_team(team: TeamCreate, write: Write) -> Response:
    """Register a team of an organisation in a season. A label, never a pupil's name."""
    return write.created(teams.create, team)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[TeamRead],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_teams(batch: Batch[TeamCreate], write: Write) -> Response:
    """Register several teams: all of them, or none."""
    return write.created_together(teams.create, batch)


@router.get("", response_model=Page[TeamRead], responses=LIST)
def list_teams(query: Annotated[TeamQuery, Query()], read: Read) -> Response:
    """List teams that the key may see, oldest first."""
    return read.page(teams.page, query)


@router.get("/{team_id}", response_model=TeamRead, responses=SHOW)
def get_team(team_id: str, read: Read) -> Response:
    """Show a team."""
    return read.one(teams.get, team_id)


@router.patch("/{team_id}", response_model=TeamRead, responses=CHANGE)
def change_team(team_id: str, changes: TeamUpdate, write: Change) -> Response:
    """Change a team."""
    return write.changed(teams.change, team_id, changes)

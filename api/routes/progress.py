"""A team's progress over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.deps import Read, database
from api.models.season.progress import ProgressQuery, TeamProgress
from api.routes.contract import READ, StrictRoute, private_json
from api.services.season import progress

router = APIRouter(tags=["comparison"], route_class=StrictRoute)


@router.get("/teams/{team_id}/progress", responses=READ, response_model=TeamProgress)
def get_team_progress(
    team_id: str, query: Annotated[ProgressQuery, Query()], request: Request, read: Read
) -> Response:
    """Show a team's way: builds, trend, what sweeps found, each change, and what to test next."""
    with database(request).reading() as db:
        shown = progress.team_progress(db, read.caller, team_id)
    return private_json(shown)

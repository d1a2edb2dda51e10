"""The fair comparison of a season over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.deps import Read, database
from api.models.comparison import ComparisonQuery, SeasonComparison
from api.routes.contract import READ, StrictRoute, private_json
from api.services import comparisons

router = APIRouter(tags=["reports"], route_class=StrictRoute)


@router.get("/seasons/{season_id}/comparison", responses=READ, response_model=SeasonComparison)
def season_comparison(
    season_id: str, query: Annotated[ComparisonQuery, Query()], request: Request, read: Read
) -> Response:
    """Compare the season's builds fairly, as far as reference rotors and visits connect them.

    What cannot be compared yet is said to be so, with the session that would change it. A school's
    builds are shown to others only if it shares them by name; benches are scored for their owner.
    """
    with database(request).reading() as db:
        comparison = comparisons.compare_season(db, read.caller, season_id, query.event_id)
    return private_json(comparison)

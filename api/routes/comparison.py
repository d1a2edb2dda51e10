"""The fair comparison of a season over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.deps import Read, database
from api.models.reporting.team_sheet import SheetQuery
from api.models.season.comparison import ComparisonQuery, SeasonComparison
from api.models.season.plans import PlanQuery, SeasonPlan
from api.models.season.quality import SeasonQuality
from api.routes.contract import READ, StrictRoute, private_json
from api.routes.formats import answer_in_format, answers_as
from api.services.reporting import report_formats
from api.services.season import comparisons, plans

router = APIRouter(tags=["comparison"], route_class=StrictRoute)


@router.get("/seasons/{season_id}/comparison", responses=READ, response_model=SeasonComparison)
def get_season_comparison(
    season_id: str, query: Annotated[ComparisonQuery, Query()], request: Request, read: Read
) -> Response:
    """Compare the season's builds fairly, as far as reference rotors and visits connect them.

    What cannot be compared yet is said to be so, with the session that would change it. A school's
    builds are shown to others only if it shares them by name; benches are scored for their owner.
    """
    with database(request).reading() as db:
        comparison = comparisons.compare_season(
            db, read.caller, season_id, query.event_id, query.organisation_id
        )
    return private_json(comparison)


@router.get("/seasons/{season_id}/plan", responses=READ, response_model=SeasonPlan)
def get_season_plan(
    season_id: str, query: Annotated[PlanQuery, Query()], request: Request, read: Read
) -> Response:
    """Plan which sessions of the reference rotor or visits would narrow the uncertainty most.

    Each step is the best to add to those before it; a visit day of all teams stands beside them.
    """
    with database(request).reading() as db:
        plan = plans.season_plan(db, read.caller, season_id)
    return private_json(plan)


@router.get(
    "/seasons/{season_id}/quality",
    responses=answers_as(SeasonQuality),
    response_model=SeasonQuality,
)
def get_season_quality(
    season_id: str, query: Annotated[SheetQuery, Query()], request: Request, read: Read
) -> Response:
    """Show how well a season measures: the rotor's charts, repeatability, influence of benches."""
    with database(request).reading() as db:
        file = report_formats.quality_file(db, read.caller, season_id)
        answer = answer_in_format(request, query, file)
    return answer()

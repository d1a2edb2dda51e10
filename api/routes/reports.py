"""Reports over HTTP, as JSON, CSV, a printable page or PDF."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.deps import Read, as_file, database
from api.models.imports.trial_files import TrialFileQuery
from api.models.registry.equipment_list import EquipmentList, EquipmentListQuery
from api.models.reporting.team_sheet import EventSheetRead, SheetQuery, TeamSheet
from api.models.season.reports import OrganisationReportQuery, ReportQuery, SeasonReport
from api.routes.contract import ASK, READ, StrictRoute
from api.routes.files import CSV, answers_csv
from api.routes.formats import answer_in_format, answers_as
from api.services.imports import trial_files
from api.services.reporting import report_formats

router = APIRouter(tags=["reports"], route_class=StrictRoute)


RESPONSES = answers_as(SeasonReport)


@router.get("/seasons/{season_id}/report", responses=RESPONSES, response_model=SeasonReport)
def get_season_report(
    season_id: str, query: Annotated[ReportQuery, Query()], request: Request, read: Read
) -> Response:
    """Show the season so far, one organisation or one team of it, with uncertainty and counts."""
    with database(request).reading() as db:
        file = report_formats.season_file(
            db, read.caller, season_id, query.organisation_id, query.team_id
        )
        answer = answer_in_format(request, query, file)
    return answer()


TRIAL_FILE = answers_csv(
    "organisation,team,turbine,build\r\n", "One row per run, in the columns of an import."
)


@router.get("/seasons/{season_id}/trials.csv", responses=READ | TRIAL_FILE, response_class=Response)
def get_season_trials(
    season_id: str, query: Annotated[TrialFileQuery, Query()], request: Request, read: Read
) -> Response:
    """Give a season's trials as a file that an import takes: sent again, it changes nothing."""
    with database(request).reading() as db:
        text = trial_files.season_csv(db, read.caller, season_id, query)
    return as_file(text, CSV, "trials.csv")


@router.get(
    "/organisations/{organisation_id}/report", responses=RESPONSES, response_model=SeasonReport
)
def get_organisation_report(
    organisation_id: str,
    query: Annotated[OrganisationReportQuery, Query()],
    request: Request,
    read: Read,
) -> Response:
    """Show one organisation's season, the newest it takes part in unless one is named."""
    with database(request).reading() as db:
        file = report_formats.organisation_file(
            db, read.caller, organisation_id, query.season_id, query.team_id
        )
        answer = answer_in_format(request, query, file)
    return answer()


@router.get("/teams/{team_id}/report", responses=answers_as(TeamSheet), response_model=TeamSheet)
def get_team_report(
    team_id: str, query: Annotated[SheetQuery, Query()], request: Request, read: Read
) -> Response:
    """Show a page that a team can be handed: our number, how sure, what changed, what next."""
    with database(request).reading() as db:
        answer = answer_in_format(
            request, query, report_formats.team_file(db, read.caller, team_id)
        )
    return answer()


@router.get(
    "/events/{event_id}/sheet", responses=answers_as(EventSheetRead), response_model=EventSheetRead
)
def get_event_sheet(
    event_id: str, query: Annotated[SheetQuery, Query()], request: Request, read: Read
) -> Response:
    """Show an event's sheet: who is ready, the order of runs, what may come and what came."""
    with database(request).reading() as db:
        answer = answer_in_format(
            request, query, report_formats.event_file(db, read.caller, event_id)
        )
    return answer()


@router.get(
    "/equipment-list", responses=answers_as(EquipmentList, ASK), response_model=EquipmentList
)
def get_equipment_list(
    query: Annotated[EquipmentListQuery, Query()], request: Request, read: Read
) -> Response:
    """Show what there is, where it is, in what condition, and what is overdue."""
    with database(request).reading() as db:
        file = report_formats.equipment_file(db, read.caller, query.organisation_id)
        answer = answer_in_format(request, query, file)
    return answer()

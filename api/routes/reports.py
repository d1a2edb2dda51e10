"""Reports over HTTP, as JSON, CSV, a printable page or PDF."""

import re
from collections.abc import Callable
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from pydantic import BaseModel
from starlette.responses import Response

from api.deps import Read, as_file, database
from api.errors import NotAcceptable
from api.messages import say
from api.models.imports.trial_files import TrialFileQuery
from api.models.registry.equipment_list import EquipmentList, EquipmentListQuery
from api.models.reporting.team_sheet import EventSheetRead, SheetQuery, TeamSheet
from api.models.season.reports import OrganisationReportQuery, ReportQuery, SeasonReport
from api.routes.contract import LIST, READ, StrictRoute, _refusals
from api.services.imports import trial_files
from api.services.reporting import report_formats
from api.services.reporting.documents import page
from api.services.reporting.report_formats import MEDIA, ReportFile

router = APIRouter(tags=["reports"], route_class=StrictRoute)


def _as(shape: type[BaseModel], refusals: Any = READ) -> Any:
    """Return what a report's operation answers."""
    return (
        refusals
        | _refusals(NotAcceptable)
        | {
            200: {
                "model": shape,
                "content": {
                    "text/csv": {"example": "team,build,normalised_power_w\r\n"},
                    "text/html": {"example": "<!doctype html>"},
                    "application/pdf": {"example": "%PDF-1.7"},
                },
                "description": "The report in the format asked for.",
            }
        }
    )


RESPONSES = _as(SeasonReport)


@router.get("/seasons/{season_id}/report", responses=RESPONSES, response_model=SeasonReport)
def season_report(
    season_id: str, query: Annotated[ReportQuery, Query()], request: Request, read: Read
) -> Response:
    """Show the season so far, one organisation or one team of it, with uncertainty and counts."""
    with database(request).reading() as db:
        file = report_formats.season_file(
            db, read.caller, season_id, query.organisation_id, query.team_id
        )
        answer = _answer(request, query, file)
    return answer()


TRIAL_FILE: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"text/csv": {"example": "organisation,team,turbine,build\r\n"}},
        "description": "One row per run, in the columns of an import.",
    }
}


@router.get("/seasons/{season_id}/trials.csv", responses=READ | TRIAL_FILE, response_class=Response)
def season_trials(
    season_id: str, query: Annotated[TrialFileQuery, Query()], request: Request, read: Read
) -> Response:
    """Give a season's trials as a file that an import takes: sent again, it changes nothing."""
    with database(request).reading() as db:
        text = trial_files.season_csv(db, read.caller, season_id, query)
    return as_file(text, "text/csv", "trials.csv")


@router.get(
    "/organisations/{organisation_id}/report", responses=RESPONSES, response_model=SeasonReport
)
def organisation_report(
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
        answer = _answer(request, query, file)
    return answer()


@router.get("/teams/{team_id}/report", responses=_as(TeamSheet), response_model=TeamSheet)
def team_report(
    team_id: str, query: Annotated[SheetQuery, Query()], request: Request, read: Read
) -> Response:
    """Show a page that a team can be handed: our number, how sure, what changed, what next."""
    with database(request).reading() as db:
        answer = _answer(request, query, report_formats.team_file(db, read.caller, team_id))
    return answer()


@router.get(
    "/events/{event_id}/sheet", responses=_as(EventSheetRead), response_model=EventSheetRead
)
def event_sheet(
    event_id: str, query: Annotated[SheetQuery, Query()], request: Request, read: Read
) -> Response:
    """Show an event's sheet: who is ready, the order of runs, what may come and what came."""
    with database(request).reading() as db:
        answer = _answer(request, query, report_formats.event_file(db, read.caller, event_id))
    return answer()


@router.get("/equipment-list", responses=_as(EquipmentList, LIST), response_model=EquipmentList)
def equipment_list(
    query: Annotated[EquipmentListQuery, Query()], request: Request, read: Read
) -> Response:
    """Show what there is, where it is, in what condition, and what is overdue."""
    with database(request).reading() as db:
        file = report_formats.equipment_file(db, read.caller, query.organisation_id)
        answer = _answer(request, query, file)
    return answer()


def _answer(
    request: Request, query: ReportQuery | SheetQuery | EquipmentListQuery, file: ReportFile
) -> Callable[[], Response]:
    """Return what makes the answer in the format asked for, out of what was read by now."""
    chosen = query.format or _accepted(request.headers.get("accept", "*/*"))
    headers = {"Vary": "Accept, Authorization", "Cache-Control": "private, no-cache"}
    if chosen == "html":
        headers["Content-Security-Policy"] = page.content_policy()
    if chosen in ("csv", "pdf"):
        headers["Content-Disposition"] = f'attachment; filename="{file.name}.{chosen}"'
    write = file.writer(chosen, excel=query.excel)
    return lambda: Response(write(), headers=headers, media_type=MEDIA[chosen])


def _accepted(accept: str) -> str:
    """Return the first format that an Accept header names and we can give."""
    for kind in _wanted(accept):
        if kind in ("*/*", "application/*", ""):
            return "json"
        for name, media in MEDIA.items():
            if kind in (media, media.split("/")[0] + "/*"):
                return name
    raise NotAcceptable(say("refused.report_formats", formats=", ".join(MEDIA.values())))


def _wanted(accept: str) -> list[str]:
    """Return the kinds of an Accept header, the most wanted first; q=0 is not wanted at all."""
    kinds: list[tuple[float, str]] = []
    for part in accept.split(","):
        kind, _, rest = part.strip().lower().partition(";")
        quality = re.search(r"(?:^|;)\s*q=([01](?:\.\d{0,3})?)\s*(?:;|$)", rest)
        kinds.append((float(quality[1]) if quality else 1.0, kind.strip()))
    return [kind for quality, kind in sorted(kinds, key=lambda pair: -pair[0]) if quality > 0]

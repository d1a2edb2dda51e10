"""Season reports over HTTP, as JSON, CSV or a printable page."""

import re
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.deps import Read, database
from api.errors import NotAcceptable
from api.models.files import TrialFileQuery
from api.models.reports import OrganisationReportQuery, ReportQuery, SeasonReport
from api.routes.contract import READ, StrictRoute, _refusals
from api.services import report_formats, reports, trial_files

router = APIRouter(tags=["reports"], route_class=StrictRoute)

MEDIA = {"json": "application/json", "csv": "text/csv", "html": "text/html"}
RESPONSES = (
    READ
    | _refusals(NotAcceptable)
    | {
        200: {
            "model": SeasonReport,
            "content": {
                "text/csv": {"example": "organisation,team,build,normalised_power_w\r\n"},
                "text/html": {"example": "<!doctype html>"},
            },
            "description": "The report in the format asked for.",
        }
    }
)


@router.get("/seasons/{season_id}/report", responses=RESPONSES, response_model=SeasonReport)
def season_report(
    season_id: str, query: Annotated[ReportQuery, Query()], request: Request, read: Read
) -> Response:
    """Show the season so far, one organisation or one team of it, with doubt and counts."""
    with database(request).reading() as db:
        report = reports.season_report(
            db, read.caller, season_id, query.organisation_id, query.team_id
        )
    return _answer(report, request, query)


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
    return Response(
        text,
        headers={"Content-Disposition": 'attachment; filename="trials.csv"'},
        media_type="text/csv",
    )


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
        report = reports.organisation_report(
            db, read.caller, organisation_id, query.season_id, query.team_id
        )
    return _answer(report, request, query)


def _answer(report: SeasonReport, request: Request, query: ReportQuery) -> Response:
    """Answer a report in the format asked for."""
    chosen = query.format or _accepted(request.headers.get("accept", "*/*"))
    headers = {"Vary": "Accept, Authorization", "Cache-Control": "private, no-cache"}
    if chosen == "csv":
        headers["Content-Disposition"] = 'attachment; filename="season-report.csv"'
        body = report_formats.to_csv(report, query.excel)
    elif chosen == "html":
        headers["Content-Security-Policy"] = report_formats.content_policy()
        body = report_formats.to_html(report)
    else:
        body = report.model_dump_json()
    return Response(body, headers=headers, media_type=MEDIA[chosen])


def _accepted(accept: str) -> str:
    """Return the first format that an Accept header names and we can give."""
    for kind in _wanted(accept):
        if kind in ("*/*", "application/*", ""):
            return "json"
        for name, media in MEDIA.items():
            if kind in (media, media.split("/")[0] + "/*"):
                return name
    raise NotAcceptable(f"a report comes as {', '.join(MEDIA.values())}")


def _wanted(accept: str) -> list[str]:
    """Return the kinds of an Accept header, the most wanted first; q=0 is not wanted at all."""
    kinds: list[tuple[float, str]] = []
    for part in accept.split(","):
        kind, _, rest = part.strip().lower().partition(";")
        quality = re.search(r"(?:^|;)\s*q=([01](?:\.\d{0,3})?)\s*(?:;|$)", rest)
        kinds.append((float(quality[1]) if quality else 1.0, kind.strip()))
    return [kind for quality, kind in sorted(kinds, key=lambda pair: -pair[0]) if quality > 0]

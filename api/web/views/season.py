"""Pages of seasons: the list, the current one, and one season."""

import re
from typing import Annotated

from fastapi import APIRouter, Path
from sqlmodel import col, select
from starlette.responses import Response

from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.services.core import resources
from api.services.reporting import report_subjects
from api.services.reporting.documents.quality import quality_document
from api.services.season import comparisons, quality, reports
from api.web import rendering
from api.web.descriptions import left_out_in_words
from api.web.views.sign_in import LONGEST_S
from api.web.visitors import (
    PostedByAny,
    Visited,
    go_to,
    local_path,
    season_cookie,
    store_in_browser,
)

router = APIRouter()


@router.get("/seasons")
def seasons_page(visited: Visited) -> Response:
    """Show all seasons, newest first."""
    with visited.reading() as db:
        rows = resources.newest(db, visited.caller, Season)
    return rendering.show("seasons.html", visited, seasons=rows)


@router.get("/season")
def season_of_today(visited: Visited) -> Response:
    """Redirect to the current season of the pages."""
    return go_to(f"/seasons/{visited.season_id}" if visited.season_id else "/seasons")


@router.post("/season/choose")
def choose_season(posted: PostedByAny) -> Response:
    """Store the chosen season in this browser; without one, pages show today's season."""
    visited, season_id = posted.visit, posted.text("season_id")
    settings = visited.request.app.state.settings
    back = local_path(posted.text("back"))
    is_own_page = re.fullmatch(r"/seasons/sea_[0-9A-Z]+", back)
    answer = go_to("/season" if is_own_page else back)
    is_listed = any(season_id == listed for listed, _ in visited.seasons)
    chosen = season_id if is_listed else ""
    store_in_browser(answer, visited.request, season_cookie(settings), chosen, LONGEST_S)
    return answer


@router.get("/seasons/{season_id}")
def season_page(season_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a season's comparable powers, groups and trends, and the trials left out."""
    with visited.reading() as db:
        report = reports.season_report(db, visited.caller, season_id)
        document = report_subjects.season_sheet(db, visited.caller, report)
        season = resources.get_row(db, visited.caller, Season, season_id)
        odd_trials = comparisons.season_odd_trials(db, visited.caller, season)
        meetings = list(
            db.scalars(
                select(Event).where(col(Event.season_id) == season_id).order_by(col(Event.held_on))
            )
        )
    return rendering.show(
        "season.html",
        visited,
        document=document,
        season=season,
        events=meetings,
        has_teams=bool(report.organisations),
        as_of=report.as_of,
        left_out=left_out_in_words(report.left_out),
        odd_trials=odd_trials,
    )


@router.get("/seasons/{season_id}/quality")
def quality_page(season_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show how well a season measures."""
    with visited.reading() as db:
        season = resources.get_row(db, visited.caller, Season, season_id)
        measured = quality.season_quality(db, visited.caller, season_id)
    document = quality_document(measured)
    return rendering.show("quality.html", visited, document=document, season=season)

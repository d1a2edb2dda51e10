"""Pages of seasons: the list, the current one, and one season."""

import re
from typing import Annotated

from fastapi import APIRouter, Path
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.models.events.inspections import EventReadiness
from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.models.season.comparison import BenchScoreRead
from api.models.season.reports import SeasonReport
from api.services.core import cautions, resources
from api.services.core.scope import Caller
from api.services.events import readiness
from api.services.registry import teams
from api.services.reporting import report_subjects
from api.services.reporting.documents import season as documents
from api.services.reporting.documents.quality import quality_document
from api.services.season import comparisons, quality, reports
from api.services.trials import today
from api.web import glance, rendering
from api.web.descriptions import left_out_in_words
from api.web.season_table import View, season_table
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
#: With more schools or benches, their tables are on the pages of the schools only.
MOST_INLINE = 24


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
    """Show who leads, what needs attention, and all teams on one scale."""
    view = View.of(visited.request.query_params)
    with visited.reading() as db:
        report = reports.season_report(db, visited.caller, season_id)
        season = resources.get_row(db, visited.caller, Season, season_id)
        benches = report_subjects.bench_scores(db, visited.caller, report)
        odd_trials = comparisons.season_odd_trials(db, visited.caller, season)
        meetings = _events(db, season_id)
        waits = today.today(db, visited.caller, visited.now, season_id)
        ready = _readiness(db, visited.caller, waits.event)
        schools = teams.schools_of(db, season_id, _shown(report))
    return rendering.show(
        "season.html", visited, season=season, events=meetings, as_of=report.as_of,
        leads=glance.who_leads(report.comparison),
        tiles=glance.tiles(report, waits, ready, benches),
        table=season_table(report, schools, view),
        schools=sorted(set(schools.values()), key=lambda school: school.name.casefold()),
        how_to_read=documents.how_to_read(report), notes=documents.comparison_notes(report),
        school_tables=[
            (each.name, len(each.teams), documents.teams_table(each))
            for each in report.organisations
        ]
        if len(report.organisations) <= MOST_INLINE
        else (),
        own_schools=[(each.organisation_id, each.name) for each in report.organisations],
        bench_plot=documents.score_blocks(_to_check(benches)),
        orders=[documents.order_table(each) for each in report.benches]
        if len(report.benches) <= MOST_INLINE
        else (),
        odd_trials=odd_trials, not_counted=documents.left_out_lines(report.left_out),
        has_teams=bool(report.organisations), cautions=cautions.foot(),
        left_out=left_out_in_words(report.left_out),
    )  # fmt: skip


def _to_check(benches: list[BenchScoreRead]) -> list[BenchScoreRead]:
    """Return the benches to show: of many, only those that are not within limits."""
    if len(benches) <= MOST_INLINE:
        return benches
    return [bench for bench in benches if bench.verdict != "fine"][:MOST_INLINE]


def _events(db: Session, season_id: str) -> list[Event]:
    of_season = select(Event).where(col(Event.season_id) == season_id)
    return list(db.scalars(of_season.order_by(col(Event.held_on))))


def _readiness(db: Session, caller: Caller, event: Event | None) -> EventReadiness | None:
    return None if event is None else readiness.event_readiness(db, caller, event.id)


def _shown(report: SeasonReport) -> set[str]:
    """Return the teams that a report names."""
    own = {team.team_id for school in report.organisations for team in school.teams}
    return own | {place.team_id for place in report.comparison.places}


@router.get("/seasons/{season_id}/quality")
def quality_page(season_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show how well a season measures."""
    with visited.reading() as db:
        season = resources.get_row(db, visited.caller, Season, season_id)
        measured = quality.season_quality(db, visited.caller, season_id)
    document = quality_document(measured)
    return rendering.show("quality.html", visited, document=document, season=season)

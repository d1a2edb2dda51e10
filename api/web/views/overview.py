"""Where a visit begins and what it walks through: today, seasons, schools, teams, builds."""

import re
from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.errors import NotFound
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.events import Event
from api.models.registry.organisations import Organisation
from api.models.registry.safety import SafetyQuery
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.season.reports import LeftOut
from api.models.trials.trials import Trial
from api.services.core import resources
from api.services.registry import safety
from api.services.reporting import sheets
from api.services.reporting.documents.team import team_document
from api.services.season import reports
from api.services.trials import today, trials
from api.web import forms, rendering
from api.web.descriptions import history_of, session_days
from api.web.messages import say
from api.web.registration.fields import BUILD
from api.web.views.sign_in import LONGEST_S
from api.web.visitors import PostedByAny, Visit, Visited, go_to, local_path, season_cookie

router = APIRouter()
MOST_SCHOOLS = 300
SHOWN = 100  # trials of one build on its page, newest first


def left_out_in_words(left: list[LeftOut]) -> list[str]:
    """Return what a page's numbers leave out."""
    return [say("page.trials_left_out", count=each.trials, why=each.sentence) for each in left]


@router.get("/today")
def today_page(visited: Visited) -> Response:
    """Show what waits: questions, quiet teams, benches without a reference run, the event."""
    with visited.reading() as db:
        waits = today.today(db, visited.caller, visited.now, visited.season_id)
        school = resources.newest(db, visited.caller, Organisation, most=1)
    return rendering.show(
        "today.html",
        visited,
        waits=waits,
        school=school[0] if school else None,
        left_out=[say("today.infos_left_out")] if waits.trials else None,
    )


@router.get("/seasons")
def seasons_page(visited: Visited) -> Response:
    """Show all seasons, newest first."""
    with visited.reading() as db:
        rows = resources.newest(db, visited.caller, Season)
    return rendering.show("seasons.html", visited, seasons=rows)


@router.get("/season")
def season_of_today(visited: Visited) -> Response:
    """Go on to the season that pages are about."""
    return go_to(f"/seasons/{visited.season_id}" if visited.season_id else "/seasons")


@router.post("/season/choose")
def choose_season(posted: PostedByAny) -> Response:
    """Keep in this browser which season pages are about; none chosen follows the day."""
    visited, season_id = posted.visit, posted.text("season_id")
    settings = visited.request.app.state.settings
    back = local_path(posted.text("back"))
    is_own_page = re.fullmatch(r"/seasons/sea_[0-9A-Z]+", back)
    answer = go_to("/season" if is_own_page else back)
    is_known = any(season_id == known for known, _ in visited.seasons)
    answer.set_cookie(
        season_cookie(settings), season_id if is_known else "", path="/", httponly=True,
        max_age=LONGEST_S if is_known else 0, secure=not settings.plain_http_pages, samesite="lax",
    )  # fmt: skip
    return answer


@router.get("/seasons/{season_id}")
def season_page(season_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a season's fair table, its groups, trends and what was left out."""
    with visited.reading() as db:
        report = reports.season_report(db, visited.caller, season_id)
        document = sheets.season_sheet(db, visited.caller, report)
        season = resources.get_row(db, visited.caller, Season, season_id)
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
    )


@router.get("/schools")
def schools_page(visited: Visited) -> Response:
    """Show the schools within reach."""
    with visited.reading() as db:
        rows = resources.newest(db, visited.caller, Organisation, most=MOST_SCHOOLS)
    return rendering.show(
        "schools.html",
        visited,
        schools=sorted(rows, key=lambda row: row.name.casefold()),
        left_out=[say("page.newest_only", count=MOST_SCHOOLS)] if len(rows) == MOST_SCHOOLS else (),
    )


@router.get("/schools/{organisation_id}")
def school_page(organisation_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show one school: its teams and benches, and its part of the season."""
    with visited.reading() as db:
        school = resources.get_row(db, visited.caller, Organisation, organisation_id)
        season_id = visited.season_id
        mine = col(Team.organisation_id) == school.id
        facts: dict[str, Any] = {
            "teams": resources.newest(
                db, visited.caller, Team, mine, col(Team.season_id) == season_id
            ),
            "benches": resources.newest(
                db, visited.caller, Bench, col(Bench.organisation_id) == school.id
            ),
        }
        facts["history"] = history_of(db, visited, Organisation, school.id)
        report = _report_of(db, visited, school.id)
        document = sheets.season_sheet(db, visited.caller, report) if report else None
    return rendering.show(
        "school.html",
        visited,
        school=school,
        document=document,
        left_out=left_out_in_words(report.left_out) if report else (),
        as_of=report.as_of if report else None,
        **facts,
    )


def _report_of(db: Session, visited: Visit, organisation_id: str) -> Any:
    """Return the report of a school in the season of the page, or none before its first team."""
    try:
        report = reports.organisation_report(
            db, visited.caller, organisation_id, visited.season_id or None, None
        )
    except NotFound:
        return None
    return report if report.organisations else None


@router.get("/teams/{team_id}")
def team_page(team_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a team's way: its number, what changes brought, sweeps, and what to try next."""
    with visited.reading() as db:
        team = resources.get_row(db, visited.caller, Team, team_id)
        sheet = sheets.team_sheet(db, visited.caller, team_id)
        school = db.get_one(Organisation, team.organisation_id)
        machines = _machines(db, team.id)
        at_school = col(Bench.organisation_id) == school.id
        has_bench = bool(resources.newest(db, visited.caller, Bench, at_school, most=1))
        done = history_of(db, visited, Team, team.id)
    return rendering.show(
        "team.html",
        visited,
        team=team,
        school=school,
        machines=machines,
        has_bench=has_bench,
        history=done,
        document=team_document(sheet),
        next_test=sheet.progress.next_test,
        as_of=sheet.progress.as_of,
        left_out=left_out_in_words(sheet.team.left_out),
    )


def _machines(db: Session, team_id: str) -> list[tuple[Turbine, list[Build]]]:
    """Return a team's turbines, each with its builds, newest first."""
    turbines = db.scalars(
        select(Turbine).where(col(Turbine.team_id) == team_id).order_by(col(Turbine.id))
    )
    of = select(Build).order_by(col(Build.number).desc())
    return [(row, list(db.scalars(of.where(col(Build.turbine_id) == row.id)))) for row in turbines]


@router.get("/builds/{build_id}")
def build_page(build_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a build: dimensions, safety figures, and its trials with what is doubted of them."""
    with visited.reading() as db:
        build = resources.get_row(db, visited.caller, Build, build_id)
        turbine = db.get_one(Turbine, build.turbine_id)
        team = db.get(Team, turbine.team_id) if turbine.team_id else None
        figures = safety.of_build(db, visited.caller, build_id, SafetyQuery())
        found = trials.newest(db, visited.caller, col(Trial.build_id) == build.id, most=SHOWN)
        done = history_of(db, visited, Build, build.id)
        days, zone = session_days(db, found), _zone(db, team)
        newest = max(db.scalars(select(Build.number).where(col(Build.turbine_id) == turbine.id)))
    return rendering.show(
        "build.html",
        visited,
        build=build,
        turbine=turbine,
        team=team,
        figures=figures,
        dimensions=dimensions(build),
        trials=found,
        history=done,
        days=days,
        zone=zone,
        is_newest=build.number == newest,
        left_out=[say("page.newest_only", count=SHOWN)] if len(found) == SHOWN else (),
    )


def _zone(db: Session, team: Team | None) -> str:
    """Return the clock of a team's school, else of its season; a reference rotor has none."""
    if team is None:
        return "UTC"
    own = db.get_one(Organisation, team.organisation_id).timezone
    return own or db.get_one(Season, team.season_id).timezone


def dimensions(build: Build) -> list[tuple[str, str]]:
    """Return what is known of a build, with units."""
    shown = forms.shown(BUILD, build)
    return [
        (each.label, dict(each.choices).get(shown[each.name], shown[each.name]))
        for each in BUILD
        if shown[each.name] and each.name != "note"
    ]

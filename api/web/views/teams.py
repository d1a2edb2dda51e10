"""The page of a team: its power, its builds and its next test."""

from typing import Annotated

from fastapi import APIRouter, Path
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.messages import say
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.season.progress import TeamProgress
from api.services.core import resources
from api.services.measurements import rechecks
from api.services.reporting import report_subjects
from api.services.reporting.documents.season import how_to_read
from api.services.reporting.documents.team import team_document, team_story
from api.services.reporting.documents.words import milliwatts, rounded_milliwatts
from api.services.trials import stored_trials
from api.web import rendering
from api.web.descriptions import history_of, left_out_in_words, session_days
from api.web.visitors import Visited

router = APIRouter()
TRIALS_SHOWN = 25  # newest first


@router.get("/teams/{team_id}")
def team_page(team_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a team's power, what to try next, its season, its trials and its turbines."""
    with visited.reading() as db:
        team = resources.get_row(db, visited.caller, Team, team_id)
        sheet = report_subjects.team_sheet(db, visited.caller, team_id)
        school = db.get_one(Organisation, team.organisation_id)
        machines = _machines(db, team.id)
        at_school = col(Bench.organisation_id) == school.id
        has_bench = bool(resources.newest(db, visited.caller, Bench, at_school, most=1))
        done = history_of(db, visited, Team, team.id)
        newest = stored_trials.newest(
            db, visited.caller, rechecks.of_team(team.id), most=TRIALS_SHOWN
        )
        days = session_days(db, newest)
        season = db.get_one(Season, team.season_id)
    return rendering.show(
        "team.html", visited, team=team, school=school, machines=machines, has_bench=has_bench,
        history=done, document=team_document(sheet), story=team_story(sheet),
        number=_number(sheet.progress), trials=newest, days=days,
        not_known=say("report_team.not_known", reason=sheet.progress.reason),
        names={build.id: f"{turbine.name}, {say('report_build.named', number=build.number)}"
               for turbine, builds in machines for build in builds},
        zone=school.timezone or season.timezone, how_to_read=how_to_read(sheet.report),
        next_test=sheet.progress.next_test, as_of=sheet.progress.as_of,
        left_out=left_out_in_words(sheet.team.left_out),
    )  # fmt: skip


def _number(progress: TeamProgress) -> tuple[str, str, str] | None:
    """Return the power of the current build, its interval, and what it is; None without one."""
    if not progress.builds:
        return None
    build = progress.builds[-1]
    named = say("build.number", number=build.number)
    if not build.fair_power_w or not build.fair_interval_w:
        value, low, high = rounded_milliwatts(build.normalised_power_w, build.interval_w)
        words = say("team.answer_own", build=named)
    else:
        value, low, high = rounded_milliwatts(build.fair_power_w, build.fair_interval_w)
        own = milliwatts(build.normalised_power_w, build.interval_w)
        words = f"{say('team.answer', build=named)} {say('team.own_bench', power=own)}"
    return say("rank.milliwatts", value=value), say("rank.span", low=low, high=high), words


def _machines(db: Session, team_id: str) -> list[tuple[Turbine, list[Build]]]:
    """Return a team's turbines, each with its builds, newest first."""
    turbines = db.scalars(
        select(Turbine).where(col(Turbine.team_id) == team_id).order_by(col(Turbine.id))
    )
    of = select(Build).order_by(col(Build.number).desc())
    return [(row, list(db.scalars(of.where(col(Build.turbine_id) == row.id)))) for row in turbines]

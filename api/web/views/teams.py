"""The page of a team: its power, its builds and its next test."""

from typing import Annotated

from fastapi import APIRouter, Path
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.organisations import Organisation
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.services.core import resources
from api.services.reporting import report_subjects
from api.services.reporting.documents.team import team_document
from api.web import rendering
from api.web.descriptions import history_of, left_out_in_words
from api.web.visitors import Visited

router = APIRouter()


@router.get("/teams/{team_id}")
def team_page(team_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a team: its power, the effects of changes, its sweeps, and its next test."""
    with visited.reading() as db:
        team = resources.get_row(db, visited.caller, Team, team_id)
        sheet = report_subjects.team_sheet(db, visited.caller, team_id)
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

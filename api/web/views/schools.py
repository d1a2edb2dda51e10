"""Pages of schools: the list, and one school with its part of the season."""

from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session, col
from starlette.responses import Response

from api.errors import NotFound
from api.messages import say
from api.models.registry.benches import Bench
from api.models.registry.organisations import Organisation
from api.models.registry.teams import Team
from api.services.core import resources
from api.services.reporting import report_subjects
from api.services.season import reports
from api.web import rendering
from api.web.descriptions import history_of, left_out_in_words
from api.web.visitors import Visit, Visited

router = APIRouter()
MOST_SCHOOLS = 300


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
        of_school = col(Team.organisation_id) == school.id
        facts: dict[str, Any] = {
            "teams": resources.newest(
                db, visited.caller, Team, of_school, col(Team.season_id) == season_id
            ),
            "benches": resources.newest(
                db, visited.caller, Bench, col(Bench.organisation_id) == school.id
            ),
        }
        facts["history"] = history_of(db, visited, Organisation, school.id)
        report = _report_of(db, visited, school.id)
        document = report_subjects.season_sheet(db, visited.caller, report) if report else None
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
    """Return the report of a school in the current season, or None before its first team."""
    try:
        report = reports.organisation_report(
            db, visited.caller, organisation_id, visited.season_id or None, None
        )
    except NotFound:
        return None
    return report if report.organisations else None

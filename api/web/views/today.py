"""The first page of a visit: what needs attention today."""

from fastapi import APIRouter
from starlette.responses import Response

from api.messages import say
from api.models.registry.organisations import Organisation
from api.services.core import resources
from api.services.trials import today
from api.services.trials.question_groups import grouped
from api.web import rendering
from api.web.first_steps import first_steps
from api.web.visitors import Visited

router = APIRouter()


@router.get("/today")
def today_page(visited: Visited) -> Response:
    """Show questions, quiet teams, benches without a reference run, and the next event."""
    with visited.reading() as db:
        to_do = today.today(db, visited.caller, visited.now, visited.season_id)
        questions = grouped(db, to_do.questions)
        school = resources.newest(db, visited.caller, Organisation, most=1)
    return rendering.show(
        "today.html",
        visited,
        waits=to_do,
        questions=questions,
        steps=first_steps(to_do, school[0] if school else None, is_lead=visited.is_lead),
        left_out=[say("today.infos_left_out")] if to_do.trials else None,
    )

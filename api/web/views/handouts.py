"""Downloads of the hand-outs of a team, of a school's teams, and of an event's teams."""

from collections.abc import Callable
from typing import Annotated, Literal

from fastapi import APIRouter, Path
from sqlmodel import Session
from starlette.responses import Response

from api.deps import as_file
from api.errors import NotFound
from api.messages import say
from api.services.core.scope import Caller
from api.services.reporting import handouts
from api.services.reporting.handouts import Handout
from api.web.visitors import Visit, Visited

router = APIRouter()
Container = Literal["pdf", "zip"]
Id = Annotated[str, Path()]


def _download(
    visited: Visit, read: Callable[[Session, Caller], list[Handout]], container: Container
) -> Response:
    """Return the hand-outs as a file, which is made once the database is closed."""
    with visited.reading() as db:
        pages = read(db, visited.caller)
    if not pages:
        raise NotFound(say("refused.no_team_for_handouts"))
    body = handouts.as_pdf(pages) if container == "pdf" else handouts.as_zip(pages)
    return as_file(body, f"application/{container}", f"hand-outs.{container}")


@router.get("/teams/{team_id}/handout.pdf")
def team_handout(team_id: Id, visited: Visited) -> Response:
    """Give a team's hand-out."""
    return _download(visited, lambda db, caller: handouts.of_team(db, caller, team_id), "pdf")


@router.get("/schools/{organisation_id}/handouts.{container}")
def school_handouts(organisation_id: Id, container: Container, visited: Visited) -> Response:
    """Give the hand-outs of all teams of a school."""

    def read(db: Session, caller: Caller) -> list[Handout]:
        return handouts.of_school(db, caller, organisation_id, visited.season_id)

    return _download(visited, read, container)


@router.get("/events/{event_id}/handouts.{container}")
def event_handouts(event_id: Id, container: Container, visited: Visited) -> Response:
    """Give the hand-outs of all teams of an event."""
    return _download(visited, lambda db, caller: handouts.of_event(db, caller, event_id), container)

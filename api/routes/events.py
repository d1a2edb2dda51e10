"""Events over HTTP, with what they may bring and how that was."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from starlette.responses import Response

from api.deps import ChangeLead, Read, WriteLead, database
from api.models.events import EventCreate, EventQuery, EventRead, EventUpdate
from api.models.outlook import EventOutlook, EventReview, OutlookQuery
from api.models.pages import Page
from api.routes.contract import CHANGE, LIST, READ, WRITE, StrictRoute, private_json
from api.services import events, outlooks, reviews

router = APIRouter(prefix="/events", tags=["events"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=EventRead, responses=WRITE)
def create_event(event: EventCreate, write: WriteLead) -> Response:
    """Announce an event, where the teams of a season meet."""
    return write.created(events.create, event)


@router.get("", response_model=Page[EventRead], responses=LIST)
def list_events(query: Annotated[EventQuery, Query()], read: Read) -> Response:
    """List events, oldest first."""
    return read.page(events.page, query)


@router.get("/{event_id}", response_model=EventRead, responses=READ)
def get_event(event_id: str, read: Read) -> Response:
    """Show an event."""
    return read.one(events.get, event_id)


@router.patch("/{event_id}", response_model=EventRead, responses=CHANGE)
def change_event(event_id: str, changes: EventUpdate, write: ChangeLead) -> Response:
    """Change an event; its outlook follows."""
    return write.changed(events.change, event_id, changes)


@router.get("/{event_id}/outlook", response_model=EventOutlook, responses=READ)
def event_outlook(
    event_id: str, query: Annotated[OutlookQuery, Query()], request: Request, read: Read
) -> Response:
    """Look ahead at an event: ranges and chances of each team, by what was known the day before.

    Teams that nothing joins to the others are not placed, and the missing link is named. Teams of
    schools that do not share theirs take part in the drawing and are not shown.
    """
    with database(request).reading() as db:
        shown = outlooks.event_outlook(db, read.caller, event_id)
    return private_json(shown)


@router.get("/{event_id}/review", response_model=EventReview, responses=READ)
def event_review(
    event_id: str, query: Annotated[OutlookQuery, Query()], request: Request, read: Read
) -> Response:
    """Hold the forecast of the event's morning against the day's results.

    Results are the accepted trials of kind `event` in sessions of that day, the best of each team.
    """
    with database(request).reading() as db:
        shown = reviews.event_review(db, read.caller, event_id)
    return private_json(shown)

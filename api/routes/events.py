"""Events over HTTP, with their forecasts and reviews."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from sqlmodel import Session
from starlette.responses import Response

from api.bodies import BATCH_BYTES, SERIES_BYTES
from api.deps import ChangeLead, Read, Write, WriteLead, database
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.models.events.forecast import EventOutlook, EventReview, OutlookQuery
from api.models.events.inspections import (
    EventReadiness,
    InspectionCreate,
    InspectionQuery,
    InspectionRead,
)
from api.models.events.runs import Drawing, EventResults, ResultsCreate, RunOrderRead
from api.models.registry.events import EventCreate, EventQuery, EventRead, EventUpdate
from api.routes.contract import CHANGE, LIST, READ, SHOW, WRITE, StrictRoute, private_json
from api.services.access.idempotency import Answered
from api.services.core.pages import Rest
from api.services.core.scope import Caller
from api.services.events import forecasts, inspections, readiness, reviews, run_orders, runs
from api.services.registry import events

router = APIRouter(prefix="/events", tags=["events"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=EventRead, responses=WRITE)
def create_event(event: EventCreate, write: WriteLead) -> Response:
    """Announce an event, where the teams of a season meet."""
    return write.created(events.create, event)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[EventRead],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_events(batch: Batch[EventCreate], write: WriteLead) -> Response:
    """Announce several events: all of them, or none."""
    return write.created_together(events.create, batch)


@router.get("", response_model=Page[EventRead], responses=LIST)
def list_events(query: Annotated[EventQuery, Query()], read: Read) -> Response:
    """List events, oldest first."""
    return read.page(events.page, query)


@router.get("/{event_id}", response_model=EventRead, responses=SHOW)
def get_event(event_id: str, read: Read) -> Response:
    """Show an event."""
    return read.one(events.get, event_id)


@router.patch("/{event_id}", response_model=EventRead, responses=CHANGE)
def change_event(event_id: str, changes: EventUpdate, write: ChangeLead) -> Response:
    """Change an event; its outlook follows."""
    return write.changed(events.change, event_id, changes)


@router.get("/{event_id}/outlook", response_model=EventOutlook, responses=READ)
def get_event_outlook(
    event_id: str, query: Annotated[OutlookQuery, Query()], request: Request, read: Read
) -> Response:
    """Look ahead at an event: ranges and chances of each team, by what was known the day before.

    Teams that nothing joins to the others are not placed, and the missing link is named. Teams of
    schools that do not share theirs take part in the drawing and are not shown.
    """
    with database(request).reading() as db:
        shown = forecasts.event_outlook(db, read.caller, event_id)
    return private_json(shown)


@router.get("/{event_id}/review", response_model=EventReview, responses=READ)
def get_event_review(
    event_id: str, query: Annotated[OutlookQuery, Query()], request: Request, read: Read
) -> Response:
    """Hold the forecast of the event's morning against the day's results.

    Results are the accepted trials of kind `event` in sessions of that day, the best of each team.
    """
    with database(request).reading() as db:
        shown = reviews.event_review(db, read.caller, event_id)
    return private_json(shown)


@router.post(
    "/{event_id}/inspections", status_code=201, response_model=InspectionRead, responses=WRITE
)
def inspect_build(event_id: str, inspection: InspectionCreate, write: Write) -> Response:
    """Store what an inspector found of a build; of a build that changed since it is refused."""

    def inspect(db: Session, caller: Caller, inspection_facts: InspectionCreate) -> InspectionRead:
        return inspections.inspect(db, caller, event_id, inspection_facts)

    return write.created(inspect, inspection)


@router.get("/{event_id}/inspections", response_model=Page[InspectionRead], responses=SHOW)
def list_inspections(
    event_id: str, query: Annotated[InspectionQuery, Query()], read: Read
) -> Response:
    """List the inspections of an event that the key may see, oldest first."""

    def listed(
        db: Session, caller: Caller, asked: InspectionQuery
    ) -> tuple[list[InspectionRead], Rest]:
        return inspections.page(db, caller, event_id, asked)

    return read.page(listed, query)


@router.get("/{event_id}/readiness", response_model=EventReadiness, responses=READ)
def get_event_readiness(
    event_id: str, query: Annotated[OutlookQuery, Query()], request: Request, read: Read
) -> Response:
    """Tell how ready each team is: every check of the rules, days left, and what to do next."""
    with database(request).reading() as db:
        shown = readiness.event_readiness(db, read.caller, event_id)
    return private_json(shown)


@router.post("/{event_id}/run-order", status_code=201, response_model=RunOrderRead, responses=WRITE)
def draw_run_order(event_id: str, drawing: Drawing, write: WriteLead) -> Response:
    """Draw the order of runs: blocks of one team of each school, the reference rotor in between."""

    def draw(db: Session, caller: Caller, drawing_facts: Drawing) -> RunOrderRead:
        return run_orders.draw(db, caller, event_id, drawing_facts)

    return write.created(draw, drawing, location=f"/v1/events/{event_id}/run-order")


@router.get("/{event_id}/run-order", response_model=RunOrderRead, responses=SHOW)
def get_run_order(event_id: str, read: Read) -> Response:
    """Show the order that was drawn last."""
    return read.one(run_orders.newest, event_id)


@router.post(
    "/{event_id}/results",
    response_model=EventResults,
    responses=WRITE,
    max_body_size=SERIES_BYTES,
)
def record_results(event_id: str, submitted: ResultsCreate, write: WriteLead) -> Response:
    """Store official runs; answers the day so far. The same ones sent again change nothing."""

    def record(db: Session, caller: Caller) -> Answered:
        done = runs.record(db, caller, event_id, submitted)
        return Answered(200, done.model_dump_json())

    return write.run(record)


@router.get("/{event_id}/results", response_model=EventResults, responses=READ)
def get_event_results(
    event_id: str, query: Annotated[OutlookQuery, Query()], request: Request, read: Read
) -> Response:
    """Show the day's runs, the reference rotor's drift, and the places."""
    with database(request).reading() as db:
        shown = runs.results(db, read.caller, event_id)
    return private_json(shown)

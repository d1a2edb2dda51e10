"""Draw the order of an event's runs."""

import secrets
from collections import defaultdict

from sqlmodel import Session, col, select

from analysis.event.run_order import draw_order
from api.errors import Conflict, NotFound
from api.messages import say
from api.models.events.runs import Drawing, RunOrder, RunOrderRead, SlotRead
from api.models.registry.events import Event
from api.models.registry.teams import Team
from api.services.core import resources
from api.services.core.scope import Caller, Namer, namer


def draw(db: Session, caller: Caller, event_id: str, drawing: Drawing) -> RunOrderRead:
    """Draw an order of all teams of the event's season; it replaces earlier orders."""
    event = resources.get_row(db, caller, Event, event_id)
    schools: dict[str, list[str]] = defaultdict(list)
    for team in db.scalars(select(Team).where(col(Team.season_id) == event.season_id)):
        schools[team.organisation_id].append(team.id)
    if not schools:
        raise Conflict(say("report_refused.nothing_to_draw"))
    seed = secrets.randbelow(2**31) if drawing.seed is None else drawing.seed
    slots = draw_order(
        dict(schools), drawing.attempts or event.best_of, seed, drawing.reference_every
    )
    drawn_slots = [
        {"position": slot.position, "attempt": slot.attempt, "block": slot.block,
         "team_id": slot.team} for slot in slots
    ]  # fmt: skip
    row = resources.store(
        db, caller, RunOrder, drawing, event_id=event.id, season_id=event.season_id, seed=seed,
        slots=drawn_slots,
    )  # fmt: skip
    return _read(row, namer(db, caller, event.season_id))


def newest(db: Session, caller: Caller, event_id: str) -> RunOrderRead:
    """Return the newest order of an event."""
    event = resources.get_row(db, caller, Event, event_id)
    row = newest_row(db, event)
    if row is None:
        raise NotFound(say("report_refused.not_drawn"))
    return _read(row, namer(db, caller, event.season_id))


def newest_row(db: Session, event: Event) -> RunOrder | None:
    """Return the row of the newest order of an event, or None."""
    drawn = select(RunOrder).where(col(RunOrder.event_id) == event.id)
    return db.scalars(drawn.order_by(col(RunOrder.id).desc()).limit(1)).one_or_none()


def _read(row: RunOrder, namer: Namer) -> RunOrderRead:
    slots = [
        SlotRead(
            position=slot["position"],
            attempt=slot["attempt"],
            block=slot["block"],
            team_id=namer.shown_id(slot["team_id"]),
            words=say("report_event.reference_rotor")
            if slot["team_id"] is None
            else namer.name(slot["team_id"]),
        )
        for slot in row.slots
    ]
    return resources.read(RunOrderRead, row, slots=slots)

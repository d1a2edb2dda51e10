"""Events: announce, list, change."""

from sqlmodel import Session

from api.models.registry.events import Event, EventCreate, EventQuery, EventRead, EventUpdate
from api.models.registry.seasons import Season
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller
from api.services.registry import rule_sets


def create(db: Session, caller: Caller, event: EventCreate) -> EventRead:
    """Announce an event of a season."""
    season = resources.get_row(db, caller, Season, event.season_id, "season_id")
    revisions.raise_season(db, season.id)
    rules = rule_sets.checked(event.rule_set)
    return resources.read(EventRead, resources.store(db, caller, Event, event, rule_set=rules))


def get(db: Session, caller: Caller, event_id: str) -> EventRead:
    """Return an event."""
    return resources.read(EventRead, resources.get_row(db, caller, Event, event_id))


def page(db: Session, caller: Caller, query: EventQuery) -> tuple[list[EventRead], Rest]:
    """Return a page of events."""
    rows, after = pages.page(db, caller, Event, query)
    return [resources.read(EventRead, row) for row in rows], after


def change(
    db: Session, caller: Caller, event_id: str, changes: EventUpdate, version: int
) -> EventRead:
    """Change an event; its forecast is computed again."""
    row = resources.get_row(db, caller, Event, event_id)
    revisions.raise_season(db, row.season_id)
    resources.change(db, caller, row, changes, version, **rule_sets.checked_change(changes))
    return resources.read(EventRead, row)

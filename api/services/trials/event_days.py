"""Announce that an event has a result when trials of its day are stored, however they come."""

from collections.abc import Iterable
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.services.webhooks import outbox


def note_results(db: Session, sessions: Iterable[BenchSession]) -> None:
    """Announce results of the events on whose days sessions with event trials were."""
    days = set()
    for session in sessions:
        zone = ZoneInfo(db.get_one(Season, session.season_id).timezone)
        days.add((session.season_id, session.started_at.astimezone(zone).date()))
    for season_id, day in sorted(days):
        on_day = col(Event.season_id) == season_id, col(Event.held_on) == day
        for event_id in db.scalars(select(Event.id).where(*on_day).order_by(col(Event.id))):
            outbox.note_result(db, event_id)

"""Sessions: open, list, change."""

from datetime import timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from api.errors import Conflict, FieldError, Invalid
from api.messages import say
from api.models.registry.benches import Bench
from api.models.registry.seasons import Season
from api.models.registry.sessions import (
    BenchSession,
    SessionCreate,
    SessionQuery,
    SessionRead,
    SessionUpdate,
)
from api.models.trials.trials import Trial
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_lead_where_official, require_owner
from api.services.measurements import rechecks
from api.services.registry.equipment import require_kind

#: A session may be this far outside its season.
GRACE = timedelta(days=30)


def create(db: Session, caller: Caller, session: SessionCreate) -> SessionRead:
    """Open a session at a bench."""
    return resources.read(SessionRead, add(db, caller, session))


def add(db: Session, caller: Caller, session: SessionCreate) -> BenchSession:
    """Store a session and return its row."""
    bench = resources.get_row(db, caller, Bench, session.bench_id, "bench_id")
    require_owner(caller, bench.organisation_id)
    season = resources.get_row(db, caller, Season, session.season_id, "season_id")
    require_kind(db, caller, session.meter_id, "meter", "meter_id")
    require_within(season, session)
    revisions.raise_season(db, season.id, only_trials=True)  # a new one has no trials yet
    return resources.store(db, caller, BenchSession, session, organisation_id=bench.organisation_id)


def require_within(season: Season, session: SessionCreate) -> None:
    """Refuse a session on a day far outside its season."""
    day = session.started_at.astimezone(ZoneInfo(season.timezone)).date()
    if not season.starts_on - GRACE <= day <= season.ends_on + GRACE:
        words = say(
            "refused.outside_season",
            day=day,
            most=GRACE.days,
            starts_on=season.starts_on,
            ends_on=season.ends_on,
        )
        raise Invalid(words, [FieldError("outside_season", words, pointer="/started_at")])


def get(db: Session, caller: Caller, session_id: str) -> SessionRead:
    """Return a session."""
    return resources.read(SessionRead, resources.get_row(db, caller, BenchSession, session_id))


def page(db: Session, caller: Caller, query: SessionQuery) -> tuple[list[SessionRead], Rest]:
    """Return a page of sessions."""
    rows, after = pages.page(db, caller, BenchSession, query)
    return [resources.read(SessionRead, row) for row in rows], after


def change(
    db: Session, caller: Caller, session_id: str, changes: SessionUpdate, version: int
) -> SessionRead:
    """Change a session's conditions; its trials are computed and checked again."""
    row = resources.get_row(db, caller, BenchSession, session_id)
    require_owner(caller, row.organisation_id)
    in_session = col(Trial.session_id) == row.id
    require_lead_where_official(db, caller, in_session, "refused.official_session")
    require_kind(db, caller, changes.model_dump().get("meter_id"), "meter", "meter_id")
    revisions.raise_season(db, row.season_id)
    moved = resources.change(db, caller, row, changes, version)
    if moved.get("adult_present") is False and _has_trials(db, row.id):
        raise Conflict(say("refused.adult_needed"))
    rechecks.recheck(db, in_session)
    return resources.read(SessionRead, row)


def _has_trials(db: Session, session_id: str) -> bool:
    stored = select(Trial.id).where(col(Trial.session_id) == session_id).limit(1)
    return db.scalar(stored) is not None

"""Share links: a page of a team, season or event without a key, limited to what its maker sees.

A link shows numbers and labels, never notes or reasons. It ends at its day, when it is revoked,
and with the key that made it. A season's calendar also names the equipment that its maker sees.
"""

import hashlib
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from sqlmodel import Session, col, select

from api.errors import FieldError, Invalid, NotFound, NotSignedIn
from api.messages import say
from api.models.core.ids import new_id
from api.models.registry.events import Event
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.reporting.shares import Share, ShareCreate, ShareMade, ShareQuery, ShareRead
from api.services.access import keys
from api.services.core import audit, pages, resources
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.events.board import Board, read_board
from api.services.reporting.calendar_days import CalendarEntry, calendar_entries
from api.services.reporting.documents.blocks import Document
from api.services.reporting.report_subjects import season_sheet, shared_team_sheet
from api.services.season.reports import season_report


def _digest(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def create(db: Session, caller: Caller, share: ShareCreate) -> ShareMade:
    """Make a link; only this answer has its secret, which is not stored."""
    owner, season_id = _subject(db, caller, share)
    require_owner(caller, owner) if owner else None
    token = secrets.token_urlsafe(32)
    row = resources.store(
        db,
        caller,
        Share,
        share,
        id=new_id(Share.prefix),
        season_id=season_id,
        key_id=caller.key_id,
        organisation_id=owner,
        digest=_digest(token),
        expires_at=datetime.now(UTC).replace(microsecond=0) + timedelta(days=share.days),
    )
    return ShareMade.model_validate(_read(db, row).model_dump() | {"token": token})


def _subject(db: Session, caller: Caller, share: ShareCreate) -> tuple[str | None, str]:
    """Return the organisation and the season of a link."""
    if sum(each is not None for each in (share.team_id, share.season_id, share.event_id)) != 1:
        words = say("report_refused.link_about_one")
        raise Invalid(words, [FieldError("one_of", words, pointer="/team_id")])
    if share.calendar and share.season_id is None:
        words = say("report_refused.calendar_of_season")
        raise Invalid(words, [FieldError("not_allowed", words, pointer="/calendar")])
    if share.event_id is not None:
        event = resources.get_row(db, caller, Event, share.event_id, "event_id")
        return None, event.season_id
    if share.team_id is not None:
        team = resources.get_row(db, caller, Team, share.team_id, "team_id")
        return team.organisation_id, team.season_id
    season = resources.get_row(db, caller, Season, str(share.season_id), "season_id")
    return None, season.id


def _read(db: Session, row: Share) -> ShareRead:
    return resources.read(ShareRead, row, state=_state(row), about=_about(db, row))


def _about(db: Session, row: Share) -> str:
    """Return the name of what a link shows."""
    if row.team_id is not None:
        return db.get_one(Team, row.team_id).name
    if row.event_id is not None:
        return db.get_one(Event, row.event_id).name
    name = db.get_one(Season, row.season_id).name
    return say("calendar.about", name=name) if row.calendar else name


def _state(row: Share) -> str:
    if row.revoked_at is not None:
        return "revoked"
    return "expired" if row.expires_at <= datetime.now(UTC) else "open"


def page(db: Session, caller: Caller, query: ShareQuery) -> tuple[list[ShareRead], Rest]:
    """Return a page of the links that the caller may see."""
    rows, after = pages.page(db, caller, Share, query)
    return [_read(db, row) for row in rows], after


def revoke(db: Session, caller: Caller, share_id: str) -> ShareRead:
    """Revoke a link, from the next request on."""
    row = resources.get_row(db, caller, Share, share_id)
    if row.revoked_at is None:
        row.revoked_at = datetime.now(UTC).replace(microsecond=0)
        row.version += 1
        db.flush()
        audit.note(db, caller, "revoked", row)
    return _read(db, row)


@dataclass(frozen=True, slots=True)
class SharedCalendar:
    """The days of a season that a calendar link shows."""

    season_id: str
    title: str
    entries: list[CalendarEntry]


@dataclass(frozen=True, slots=True)
class Shown:
    """What a link shows until it ends: a document, the board of an event, or a calendar."""

    until: datetime
    zone: str
    content: Document | Board | SharedCalendar


def shown(db: Session, token: str) -> Shown:
    """Return what a link shows; refuse one that has ended."""
    row = db.scalars(select(Share).where(col(Share.digest) == _digest(token))).one_or_none()
    if row is None or _state(row) != "open":
        raise NotFound(say("report_refused.link_gone"))
    season = db.get_one(Season, row.season_id)
    return Shown(row.expires_at, season.timezone, _content(db, row, season))


def _content(db: Session, row: Share, season: Season) -> Document | Board | SharedCalendar:
    maker = _maker(db, row)
    reader = _reader(db, row, maker)
    if row.calendar:
        entries = calendar_entries(db, season, of_schools=reader, of_equipment=maker)
        return SharedCalendar(season.id, say("calendar.of", name=season.name), entries)
    if row.event_id is not None:
        return read_board(db, reader, row.event_id)
    if row.team_id is not None:
        return shared_team_sheet(db, reader, row.team_id)
    return season_sheet(db, reader, season_report(db, reader, row.season_id))


def _maker(db: Session, row: Share) -> Caller:
    """Return who made a link; refuse one whose key has ended."""
    try:
        return keys.caller_of(db, row.key_id, datetime.now(UTC))
    except NotSignedIn as ended:
        raise NotFound(say("report_refused.link_gone")) from ended


def _reader(db: Session, row: Share, maker: Caller) -> Caller:
    """Return a reader who sees what the link may show, at most what its maker may see now."""
    within, published_only = maker.organisation_ids, False
    if row.organisation_id is not None:
        if not maker.reaches(row.organisation_id):
            raise NotFound(say("report_refused.link_gone"))
        within = frozenset({row.organisation_id})
    elif within is None:  # a lead's link shows the schools that share their names
        named = select(Organisation.id).where(col(Organisation.sharing) == "named")
        within, published_only = frozenset(db.scalars(named)), True
    return Caller(row.key_id, "share link", "reader", within, published_only)

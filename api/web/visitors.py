"""Who visits a page, and a way to read or to write once from it.

A visitor is known by a cookie alone, so whatever changes something must come from a page of ours:
browsers say so in `Sec-Fetch-Site`, and where they do not, `Origin` or `Referer` must name us
(OWASP Cross-Site Request Forgery Prevention Cheat Sheet, "Fetch Metadata headers").
"""

import hashlib
import re
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AbstractContextManager, asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import Depends, Request
from sqlmodel import Session
from starlette.datastructures import FormData, UploadFile
from starlette.responses import RedirectResponse, Response

from api.bodies import received
from api.db import Database
from api.deps import database, limits, turns
from api.errors import NotPermitted, NotSignedIn
from api.messages import say
from api.services.access import web_sessions
from api.services.access.idempotency import Answered, claim, store_answer, stored_answer
from api.services.core.scope import Caller
from api.services.registry import pickers, season_choice
from api.settings import Settings

COOKIE, PLAIN_COOKIE = "__Host-gustbook", "gustbook-plain"
FORM_KEY = re.compile(r"[A-Za-z0-9_-]{16,60}")
MOST_FIELDS = 200


def cookie_name(settings: Settings) -> str:
    """Return the cookie's name: bound to this host and to https, unless that was switched off."""
    return PLAIN_COOKIE if settings.plain_http_pages else COOKIE


def season_cookie(settings: Settings) -> str:
    """Return the name of the cookie that keeps which season was chosen."""
    return f"{cookie_name(settings)}-season"


@dataclass(frozen=True, slots=True)
class Visit:
    """One page asked for by somebody who is signed in."""

    request: Request
    caller: Caller
    digest: str
    last_trial_id: str | None
    now: datetime
    #: The season that pages are about: the one that was chosen in this browser, else today's.
    season_id: str = ""
    #: All seasons by id and name, newest first, to switch between.
    seasons: Sequence[tuple[str, str]] = ()
    #: Whether somebody chose it in this browser.
    is_chosen: bool = False

    def reading(self) -> AbstractContextManager[Session]:
        """Open a database session that sees one moment."""
        return database(self.request).reading()

    @property
    def may_write(self) -> bool:
        """Tell whether this visitor may change anything."""
        return self.caller.role != "reader"

    @property
    def is_lead(self) -> bool:
        """Tell whether this visitor leads the programme."""
        return self.caller.role == "lead"


def secret_of(request: Request) -> str:
    """Return the secret that a browser brings, or nothing."""
    return request.cookies.get(cookie_name(request.app.state.settings), "")


def visit(request: Request) -> Visit:
    """Return who visits, or refuse."""
    secret, now = secret_of(request), datetime.now(UTC)
    if not secret:
        raise NotSignedIn(say("refused.no_web_session"))
    opened: Database = database(request)
    with opened.reading() as db:
        caller, row = web_sessions.find(db, secret, now)
        named = request.cookies.get(season_cookie(request.app.state.settings), "")
        choice = season_choice.choose(db, caller, now, named)
        season_id = choice.season.id if choice.season else ""
        found = Visit(request, caller, row.digest, row.last_trial_id, now, season_id,
                      pickers.seasons(db, caller), season_id == named != "")  # fmt: skip
        is_stale = web_sessions.is_stale(row, now)
    request.scope["key_id"] = caller.key_id
    request.scope["rate"] = limits(request).take(caller.key_id).headers()
    if is_stale:
        with opened.unit_of_work() as db:
            web_sessions.see(db, found.digest, now)
    return found


async def reading_visit(
    request: Request, found: Annotated[Visit, Depends(visit)]
) -> AsyncIterator[Visit]:
    """Give somebody who is signed in a way to read."""
    async with turns(request).reading(found.caller):
        yield found


def require_same_origin(request: Request) -> None:
    """Refuse what another site's page makes a browser send."""
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        if site not in ("same-origin", "none"):
            raise NotPermitted(say("refused.other_site"))
        return
    named = request.headers.get("origin") or request.headers.get("referer") or ""
    if urlsplit(named).netloc != request.headers.get("host"):
        raise NotPermitted(say("refused.unknown_page"))


@dataclass(frozen=True, slots=True)
class Post:
    """A form that was sent, with a way to do its work once."""

    visit: Visit
    form: FormData

    def text(self, name: str) -> str:
        """Return what was typed into a field, without blanks around it."""
        value = self.form.get(name)
        return value.strip() if isinstance(value, str) else ""

    def file(self, name: str) -> bytes:
        """Return the bytes of an uploaded file; its name is not looked at."""
        upload = self.form.get(name)
        if not isinstance(upload, UploadFile):
            return b""
        upload.file.seek(0)
        return upload.file.read()

    def typed(self) -> dict[str, str]:
        """Return everything that was typed, by field."""
        return {name: value for name, value in self.form.items() if isinstance(value, str)}

    def once(
        self, work: Callable[[Session, Caller], str], apart_from: frozenset[str] = frozenset()
    ) -> Response:
        """Do the work in one transaction and go on to the page it names.

        The same form sent twice with the same content, as by a double tap, is done once. Fields
        that a phone does not keep while it has no network are `apart_from` that content.
        """
        caller = self.visit.caller
        with database(self.visit.request).unit_of_work(caller.organisation_ids) as db:
            key = self._key(apart_from)
            if key is None:
                return go_to(work(db, caller))
            given = claim(db, caller.key_id, key, key)
            if given is None:
                given = Answered(303, "", {"location": work(db, caller)})
                store_answer(db, caller.key_id, key, given)
            return go_to(given.headers["location"])

    def led_to(self, db: Session) -> str | None:
        """Return where this form led when it was sent before with other content, if it was."""
        named = self.text("form_key")
        if not FORM_KEY.fullmatch(named):
            return None
        given = stored_answer(db, self.visit.caller.key_id, f"page:{named}:")
        return None if given is None else given.headers["location"]

    def _key(self, apart_from: frozenset[str]) -> str | None:
        """Return what tells this sending from others: its form, and what was typed into it."""
        named = self.text("form_key")
        if not FORM_KEY.fullmatch(named):
            return None
        typed = {name: text.strip() for name, text in self.typed().items()}
        files = {
            name: hashlib.sha256(self.file(name)).hexdigest()
            for name, value in self.form.items()
            if isinstance(value, UploadFile)
        }
        held = sorted((typed | files).items())
        content = repr([pair for pair in held if pair[1] and pair[0] not in apart_from])
        named_content = f"{self.visit.request.url.path}\0{content}"
        return f"page:{named}:{hashlib.sha256(named_content.encode()).hexdigest()[:24]}"


def go_to(address: str) -> RedirectResponse:
    """Return the way to another page after something was done."""
    return RedirectResponse(address, status_code=303)


def store_in_browser(
    answer: Response, request: Request, name: str, value: str, longest_s: int
) -> None:
    """Store a value in this browser as a cookie of our own pages; an empty one is forgotten."""
    answer.set_cookie(
        name, value, path="/", httponly=True, samesite="lax",
        max_age=longest_s if value else 0,
        secure=not request.app.state.settings.plain_http_pages,
    )  # fmt: skip


def local_path(address: str, otherwise: str = "/today") -> str:
    """Return an address if it is one of our own pages, else another.

    >>> local_path("/teams/team_1"), local_path("//evil.test/x"), local_path("https://evil.test")
    ('/teams/team_1', '/today', '/today')
    """
    return address if re.fullmatch(r"/[A-Za-z0-9][A-Za-z0-9_/?=&.-]{0,300}", address) else otherwise


@asynccontextmanager
async def _read(request: Request, found: Visit) -> AsyncIterator[Post]:
    """Read the form that one of our own pages sent."""
    require_same_origin(request)
    most: int = request.app.state.settings.max_body_bytes
    async with (
        received(request, found.caller.key_id),
        request.form(max_files=2, max_fields=MOST_FIELDS, max_part_size=most) as form,
    ):
        yield Post(found, form)


@asynccontextmanager
async def _posted(request: Request, found: Visit) -> AsyncIterator[Post]:
    """Read the form, then wait for this request's turn to write."""
    mine = turns(request).writing(found.caller)
    async with _read(request, found) as posted, mine, request.app.state.writers:
        yield posted


async def receive(request: Request, found: Annotated[Visit, Depends(visit)]) -> AsyncIterator[Post]:
    """Give a coach or lead what a form sent, before it is its turn to write."""
    if not found.may_write:
        raise NotPermitted(say("refused.reader"))
    async with _read(request, found) as posted:
        yield posted


async def take_turn(request: Request) -> AsyncIterator[None]:
    """Wait for the turn to write of a request that is nobody's yet."""
    async with request.app.state.writers:
        yield


async def take_own_turn(
    request: Request, found: Annotated[Visit, Depends(visit)]
) -> AsyncIterator[None]:
    """Wait for this request's turn to write, among those of its key first."""
    async with turns(request).writing(found.caller), request.app.state.writers:
        yield


async def post(request: Request, found: Annotated[Visit, Depends(visit)]) -> AsyncIterator[Post]:
    """Give a coach or lead what a form sent."""
    if not found.may_write:
        raise NotPermitted(say("refused.reader"))
    async with _posted(request, found) as posted:
        yield posted


async def post_lead(
    request: Request, found: Annotated[Visit, Depends(visit)]
) -> AsyncIterator[Post]:
    """Give a lead what a form sent."""
    if not found.is_lead:
        raise NotPermitted(say("refused.needs_lead"))
    async with _posted(request, found) as posted:
        yield posted


async def post_own(
    request: Request, found: Annotated[Visit, Depends(visit)]
) -> AsyncIterator[Post]:
    """Give anybody who is signed in what a form sent about their own sessions."""
    async with _posted(request, found) as posted:
        yield posted


Visited = Annotated[Visit, Depends(reading_visit, scope="function")]
Posted = Annotated[Post, Depends(post, scope="function")]
PostedByLead = Annotated[Post, Depends(post_lead, scope="function")]
PostedByAny = Annotated[Post, Depends(post_own, scope="function")]
Received = Annotated[Post, Depends(receive, scope="function")]
Turn = Annotated[None, Depends(take_turn, scope="function")]
OwnTurn = Annotated[None, Depends(take_own_turn, scope="function")]

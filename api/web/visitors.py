"""Identify the visitor of a page, and let them read, or write once.

Visitors are identified only by a cookie, so every change must come from a page of this service:
browsers say so in `Sec-Fetch-Site`; without it, `Origin` or `Referer` must name this host
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
    """Return the cookie's name, which binds it to this host and https unless http is allowed.

    Services below different paths of one host have cookies of different names.
    """
    name = PLAIN_COOKIE if settings.plain_http_pages else COOKIE
    return name + settings.root_path.replace("/", "-")


def season_cookie(settings: Settings) -> str:
    """Return the name of the cookie with the chosen season."""
    return f"{cookie_name(settings)}-season"


@dataclass(frozen=True, slots=True)
class Visit:
    """A request for a page by a signed-in visitor."""

    request: Request
    caller: Caller
    digest: str
    last_trial_id: str | None
    now: datetime
    #: The current season of the pages: chosen in this browser, else today's.
    season_id: str = ""
    #: The time zone of that season.
    zone: str = "UTC"
    #: All seasons by id and name, newest first, to switch between.
    seasons: Sequence[tuple[str, str]] = ()
    #: Whether the season was chosen in this browser.
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
    """Return the secret in a browser's cookie, or an empty text."""
    return request.cookies.get(cookie_name(request.app.state.settings), "")


def visit(request: Request) -> Visit:
    """Return the visit of a signed-in visitor, or refuse."""
    secret, now = secret_of(request), datetime.now(UTC)
    if not secret:
        raise NotSignedIn(say("refused.no_web_session"))
    opened: Database = database(request)
    with opened.reading() as db:
        caller, row = web_sessions.find(db, secret, now)
        cookie_season = request.cookies.get(season_cookie(request.app.state.settings), "")
        choice = season_choice.choose(db, caller, now, cookie_season)
        season_id, zone = (
            (choice.season.id, choice.season.timezone) if choice.season else ("", "UTC")
        )
        visited = Visit(request, caller, row.digest, row.last_trial_id, now, season_id, zone,
                      pickers.seasons(db, caller), season_id == cookie_season != "")  # fmt: skip
        is_stale = web_sessions.is_stale(row, now)
    request.scope["key_id"] = caller.key_id
    request.scope["rate"] = limits(request).take(caller.key_id).headers()
    if is_stale:
        with opened.unit_of_work() as db:
            web_sessions.see(db, visited.digest, now)
    return visited


async def reading_visit(
    request: Request, visited: Annotated[Visit, Depends(visit)]
) -> AsyncIterator[Visit]:
    """Let a signed-in visitor read."""
    async with turns(request).reading(visited.caller):
        yield visited


def require_same_origin(request: Request) -> None:
    """Refuse requests that a page of another site sent."""
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        if site not in ("same-origin", "none"):
            raise NotPermitted(say("refused.other_site"))
        return
    origin = request.headers.get("origin") or request.headers.get("referer") or ""
    if urlsplit(origin).netloc != request.headers.get("host"):
        raise NotPermitted(say("refused.unknown_page"))


@dataclass(frozen=True, slots=True)
class Post:
    """A form that was sent; `once` does its work once."""

    visit: Visit
    form: FormData

    def text(self, name: str) -> str:
        """Return the text of a field, without surrounding spaces."""
        value = self.form.get(name)
        return value.strip() if isinstance(value, str) else ""

    def file(self, name: str) -> bytes:
        """Return the bytes of an uploaded file; its name is ignored."""
        upload = self.form.get(name)
        if not isinstance(upload, UploadFile):
            return b""
        upload.file.seek(0)
        return upload.file.read()

    def typed(self) -> dict[str, str]:
        """Return all typed texts by field."""
        return {name: value for name, value in self.form.items() if isinstance(value, str)}

    def once(
        self, work: Callable[[Session, Caller], str], apart_from: frozenset[str] = frozenset()
    ) -> Response:
        """Do the work in one transaction and redirect to the page it returns.

        The same form sent twice with the same content, as by a double tap, is done once. Fields
        that a phone does not store while it is offline are `apart_from` that content.
        """
        caller = self.visit.caller
        with database(self.visit.request).unit_of_work(caller.organisation_ids) as db:
            key = self._key(apart_from)
            if key is None:
                return go_to(work(db, caller))
            stored = claim(db, caller.key_id, key, key)
            if stored is None:
                stored = Answered(303, "", {"location": work(db, caller)})
                store_answer(db, caller.key_id, key, stored)
            return go_to(stored.headers["location"])

    def led_to(self, db: Session) -> str | None:
        """Return the page that this form led to when sent before with other content, or None."""
        form_key = self.text("form_key")
        if not FORM_KEY.fullmatch(form_key):
            return None
        stored = stored_answer(db, self.visit.caller.key_id, f"page:{form_key}:")
        return None if stored is None else stored.headers["location"]

    def _key(self, apart_from: frozenset[str]) -> str | None:
        """Return the idempotency key of this request, from its form and its content, or None."""
        form_key = self.text("form_key")
        if not FORM_KEY.fullmatch(form_key):
            return None
        typed = {name: text.strip() for name, text in self.typed().items()}
        files = {
            name: hashlib.sha256(self.file(name)).hexdigest()
            for name, value in self.form.items()
            if isinstance(value, UploadFile)
        }
        contents = sorted((typed | files).items())
        content = repr([pair for pair in contents if pair[1] and pair[0] not in apart_from])
        path_and_content = f"{self.visit.request.url.path}\0{content}"
        return f"page:{form_key}:{hashlib.sha256(path_and_content.encode()).hexdigest()[:24]}"


def site(request: Request) -> str:
    """Return the address of this service as its visitor sees it, without a slash at its end."""
    root_path: str = request.app.state.settings.root_path
    return str(request.base_url).rstrip("/") + root_path


def go_to(address: str) -> RedirectResponse:
    """Return the redirect to another page after a change."""
    return RedirectResponse(address, status_code=303)


def store_in_browser(
    answer: Response, request: Request, name: str, value: str, longest_s: int
) -> None:
    """Store a value in this browser as a cookie of our own pages; delete an empty one."""
    answer.set_cookie(
        name, value, path="/", httponly=True, samesite="lax",
        max_age=longest_s if value else 0,
        secure=not request.app.state.settings.plain_http_pages,
    )  # fmt: skip


def local_path(address: str, otherwise: str = "/today") -> str:
    """Return an address if it is one of our own pages, else `otherwise`.

    >>> local_path("/teams/team_1"), local_path("//evil.test/x"), local_path("https://evil.test")
    ('/teams/team_1', '/today', '/today')
    """
    return address if re.fullmatch(r"/[A-Za-z0-9][A-Za-z0-9_/?=&.-]{0,300}", address) else otherwise


@asynccontextmanager
async def _read(request: Request, visited: Visit) -> AsyncIterator[Post]:
    """Read the form that one of our own pages sent."""
    require_same_origin(request)
    most: int = request.app.state.settings.max_body_bytes
    async with (
        received(request, visited.caller.key_id),
        request.form(max_files=2, max_fields=MOST_FIELDS, max_part_size=most) as form,
    ):
        yield Post(visited, form)


@asynccontextmanager
async def _posted(request: Request, visited: Visit) -> AsyncIterator[Post]:
    """Read the form, then wait for this request's turn to write."""
    own_turn = turns(request).writing(visited.caller)
    async with _read(request, visited) as posted, own_turn, request.app.state.writers:
        yield posted


async def receive(
    request: Request, visited: Annotated[Visit, Depends(visit)]
) -> AsyncIterator[Post]:
    """Read the form of a coach or lead, without waiting for a turn to write."""
    if not visited.may_write:
        raise NotPermitted(say("refused.reader"))
    async with _read(request, visited) as posted:
        yield posted


async def take_turn(request: Request) -> AsyncIterator[None]:
    """Wait for a turn to write, for a request that has no visitor yet."""
    async with request.app.state.writers:
        yield


async def take_own_turn(
    request: Request, visited: Annotated[Visit, Depends(visit)]
) -> AsyncIterator[None]:
    """Wait for this request's turn to write, first among those of its key."""
    async with turns(request).writing(visited.caller), request.app.state.writers:
        yield


async def post(request: Request, visited: Annotated[Visit, Depends(visit)]) -> AsyncIterator[Post]:
    """Read the form of a coach or lead, in its turn to write."""
    if not visited.may_write:
        raise NotPermitted(say("refused.reader"))
    async with _posted(request, visited) as posted:
        yield posted


async def post_lead(
    request: Request, visited: Annotated[Visit, Depends(visit)]
) -> AsyncIterator[Post]:
    """Read the form of a lead, in its turn to write."""
    if not visited.is_lead:
        raise NotPermitted(say("refused.needs_lead"))
    async with _posted(request, visited) as posted:
        yield posted


async def post_own(
    request: Request, visited: Annotated[Visit, Depends(visit)]
) -> AsyncIterator[Post]:
    """Read the form of any signed-in visitor about their own sessions, in its turn to write."""
    async with _posted(request, visited) as posted:
        yield posted


Visited = Annotated[Visit, Depends(reading_visit, scope="function")]
Posted = Annotated[Post, Depends(post, scope="function")]
PostedByLead = Annotated[Post, Depends(post_lead, scope="function")]
PostedByAny = Annotated[Post, Depends(post_own, scope="function")]
Received = Annotated[Post, Depends(receive, scope="function")]
Turn = Annotated[None, Depends(take_turn, scope="function")]
OwnTurn = Annotated[None, Depends(take_own_turn, scope="function")]

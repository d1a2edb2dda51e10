"""What anybody sees behind a share link: a document, the board of an event, or a calendar."""

from collections.abc import AsyncIterator
from typing import Annotated

from fastapi import APIRouter, Depends, Path, Query, Request
from starlette.datastructures import URL
from starlette.responses import Response

from api.deps import database, turns
from api.errors import NotFound
from api.messages import current_language, say, using
from api.messages.languages import languages
from api.services.events.board import Board
from api.services.reporting import shares
from api.services.reporting.calendar_files import calendar_file
from api.services.reporting.documents.blocks import Document
from api.services.reporting.shares import SharedCalendar, Shown
from api.web import rendering
from api.web.visitors import site

router = APIRouter()
Token = Annotated[str, Path()]


async def take_turn_without_key(request: Request) -> AsyncIterator[None]:
    """Limit the concurrent requests of all visitors without a key."""
    async with turns(request).without_key:
        yield


WITHOUT_KEY = [Depends(take_turn_without_key, scope="function")]


@router.get("/shared/{token}", dependencies=WITHOUT_KEY)
def shared(token: Token, request: Request) -> Response:
    """Show what a link is about to anyone who has it."""
    with database(request).reading() as db:
        found = shares.shown(db, token)
    page = _page(request, found)
    page.headers["x-robots-tag"] = "noindex, nofollow"
    return page


def _page(request: Request, found: Shown) -> Response:
    match found.content:
        case Board() as board:
            page = rendering.show("board.html", board=board, zone=found.zone)
            page.headers["cache-control"] = "no-store"  # a browser asks every few seconds
            return page
        case SharedCalendar() as calendar:
            feed = _feed(request)
            page = rendering.show(
                "shared_calendar.html", calendar=calendar, until=found.until, zone=found.zone,
                feed=str(feed), subscription=str(feed.replace(scheme="webcal")),
                page_path=request.url.path, left_out=None,
            )  # fmt: skip
        case Document() as document:
            page = rendering.show(
                "shared.html", document=document, until=found.until, as_of=document.as_of,
                page_path=request.url.path, left_out=[say("shared.left_out")],
            )  # fmt: skip
    page.headers["cache-control"] = "private, max-age=60"
    return page


def _feed(request: Request) -> URL:
    """Return the address of a calendar's file, in the language of its page."""
    file = URL(f"{site(request)}{request.url.path}/calendar.ics")
    return file.include_query_params(language=current_language())


@router.get("/shared/{token}/calendar.ics", dependencies=WITHOUT_KEY)
def shared_calendar(
    token: Token, request: Request, language: Annotated[str, Query(max_length=8)] = ""
) -> Response:
    """Return the calendar of a link as a file that calendar programs read again and again.

    They send no language, so the address names it.
    """
    with using(language if language in languages() else current_language()):
        with database(request).reading() as db:
            found = shares.shown(db, token)
        if not isinstance(found.content, SharedCalendar):
            raise NotFound(say("report_refused.link_gone"))
        shown = found.content
        file = calendar_file(shown.season_id, shown.title, shown.entries, site(request))
    headers = {
        "cache-control": "private, max-age=900",
        "content-disposition": 'inline; filename="gustbook.ics"',
        "x-robots-tag": "noindex, nofollow",
    }
    return Response(file, headers=headers, media_type="text/calendar; charset=utf-8")

"""Answer requests that read; the database session closes before the answer is sent."""

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated, Any, TypeVar, get_args
from urllib.parse import urlencode

from fastapi import Depends, Request
from pydantic import BaseModel
from pydantic_core import to_json
from sqlalchemy.exc import OperationalError
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from api.deps.conditions import etag, etag_of
from api.deps.programme import database, turns
from api.deps.signing_in import sign_in, sign_in_lead
from api.embedded import interrupted_after
from api.models.core.shapes import Answer, PageQuery
from api.services.access.idempotency import Answered
from api.services.core.pages import Rest
from api.services.core.scope import Caller

Query = TypeVar("Query", bound=PageQuery)
PageVerb = Callable[[Session, Caller, Query], tuple[list[Any], Rest]]
SMALL_PAGE = 50  # things
#: Steps of SQLite that the event loop waits for: 2 to 7 ms. A page of 50 trials takes 7,000.
QUICK_STEPS = 100_000


def response_of(answered: Answered) -> Response:
    """Return a finished answer as a response."""
    return Response(
        answered.body,
        status_code=answered.status,
        headers=answered.headers,
        media_type="application/json" if answered.body else None,
    )


def as_file(body: str | bytes, media_type: str, name: str) -> Response:
    """Return a body as a file to download, with a name."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(body, media_type=media_type, headers=headers)


def _is_known(request: Request, tag: str) -> bool:
    """Tell whether the caller already has the state with an ETag."""
    known = request.headers.get("if-none-match", "")
    return tag in {each.strip() for each in known.split(",")}


def _shape(request: Request) -> type[BaseModel]:
    """Return the shape of the things in a list, as its route declares it."""
    shape: type[BaseModel] = get_args(
        request.scope["route"].response_model.model_fields["items"].annotation
    )[0]
    return shape


@dataclass(frozen=True, slots=True)
class Reading:
    """One request that reads."""

    request: Request
    caller: Caller

    def one(self, verb: Callable[[Session, Caller, str], Answer], row_id: str) -> Response:
        """Answer one thing, or 304 if the caller already has this state of it."""
        with database(self.request).reading() as db:
            answer = verb(db, self.caller, row_id)
        body = answer.model_dump_json()
        tag = {"ETag": etag(answer, body), "Cache-Control": "private, no-cache"}
        if _is_known(self.request, tag["ETag"]):
            return Response(status_code=304, headers=tag)
        return response_of(Answered(200, body, tag))

    def page(self, verb: PageVerb[Query], query: Query) -> Response:
        """Answer one page of a list, with the address of the next."""
        with database(self.request).reading() as db:
            return self._page(db, verb, query)

    async def quick_page(self, verb: PageVerb[Query], query: Query) -> Response:
        """Answer one page of a list that is mostly quick; no thread is needed for that.

        In a file with a write-ahead log a small page is looked up in the event loop. If that takes
        too long, as with a filter that few things meet, a thread begins again.
        """
        opened = database(self.request)
        is_quick = query.limit <= SMALL_PAGE and not query.expand and not query.total
        if opened.looks_up_at_once and is_quick:
            with (
                suppress(OperationalError),
                opened.looking_up() as db,
                interrupted_after(QUICK_STEPS, db.connection()),
            ):
                return self._page(db, verb, query)
        return await run_in_threadpool(self.page, verb, query)

    def _shown(self, db: Session, things: list[Any], query: PageQuery) -> Sequence[Any]:
        """Return things as they are, or with the fields and expansions that were asked for."""
        if query.fields is None and query.expand is None:
            return things
        from api.deps.listing import shown  # it needs all resources, which load at first use

        return shown(db, self.caller, things, query, _shape(self.request))

    def _page(self, db: Session, verb: PageVerb[Query], query: Query) -> Response:
        things, rest = verb(db, self.caller, query)
        items = self._shown(db, things, query)
        answer: dict[str, Any] = {"items": items, "next": rest.cursor}
        if rest.total is not None:
            answer["total"] = rest.total
        body = to_json(answer, inf_nan_mode="null")
        headers = {"ETag": etag_of(body), "Cache-Control": "private, no-cache"}
        if rest.cursor is not None:
            address = f"{self.request.url.path}?{urlencode(query.onwards(rest.cursor))}"
            headers["Link"] = f'<{address}>; rel="next"'
        if _is_known(self.request, headers["ETag"]):
            return Response(status_code=304, headers=headers)
        return Response(body, headers=headers, media_type="application/json")


async def read(
    request: Request, caller: Annotated[Caller, Depends(sign_in)]
) -> AsyncIterator[Reading]:
    """Let a signed-in caller read."""
    async with turns(request).reading(caller):
        yield Reading(request, caller)


async def read_lead(
    request: Request, caller: Annotated[Caller, Depends(sign_in_lead)]
) -> AsyncIterator[Reading]:
    """Let a lead read."""
    async with turns(request).reading(caller):
        yield Reading(request, caller)


# In function scope a turn ends when the handler has returned, before the answer is sent.
Read = Annotated[Reading, Depends(read, scope="function")]
ReadLead = Annotated[Reading, Depends(read_lead, scope="function")]

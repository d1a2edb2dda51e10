"""What a route asks for: who is asking, and a way to read or to write once.

A read or a write opens its database session in the handler's own thread and
closes it before the answer leaves. A write commits before the answer leaves,
so a failed commit is the caller's error and not a silent loss.
"""

import re
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode

from fastapi import Depends, Header, Request
from pydantic import BaseModel
from sqlmodel import Session
from starlette.responses import Response

from api.db import Database
from api.errors import ApiError, FieldError, Invalid, Malformed, NotPermitted, PreconditionMissing
from api.messages import current_language, say
from api.models.core.shapes import Answer, PageQuery
from api.services.access import keys
from api.services.access.idempotency import Answered, claim, digest, release, store_answer
from api.services.access.limits import Limits, network_of
from api.services.core.resources import ANY_VERSION
from api.services.core.scope import Caller
from api.turns import KeyLimits

ETAG = re.compile(r'"v(\d{1,9})(\.\d{1,12})?"')
IDEMPOTENCY_KEY = re.compile(r"[\x20-\x7e]{1,255}")

Query = TypeVar("Query", bound=PageQuery)
Body = TypeVar("Body")
Verb = Callable[[Session, Caller, Body], Answer]


def database(request: Request) -> Database:
    """Return the programme's database."""
    opened: Database = request.app.state.database
    return opened


def limits(request: Request) -> Limits:
    """Return what the programme allows."""
    found: Limits = request.app.state.limits
    return found


def look_at(request: Request, token: str, look: Callable[[str], Caller]) -> Caller:
    """Return who a key speaks for; after too many wrong secrets, refuse further ones.

    A right secret always passes, however many wrong ones came from its network: forged keys must
    not lock a school out.
    """
    try:
        return look(token)
    except keys.WrongSecret as wrong:
        network = network_of(request.client.host if request.client else "")
        limits(request).note_guess(wrong.key_id, network)
        raise


def sign_in(request: Request) -> Caller:
    """Return who asks, or refuse; looked up once for a request, before its body is read."""
    if "caller" in request.scope:
        known: Caller = request.scope["caller"]
        return known

    def look(token: str) -> Caller:
        with database(request).reading() as db:
            return keys.caller_with(db, token, datetime.now(UTC))

    token = keys.token_of(request.headers.get("authorization"))
    caller = look_at(request, token, look)
    request.scope["key_id"] = caller.key_id
    request.scope["rate"] = limits(request).take(caller.key_id).headers()
    request.scope["caller"] = caller
    return caller


def sign_in_lead(caller: Annotated[Caller, Depends(sign_in)]) -> Caller:
    """Return who asks, if that is a lead."""
    if caller.role != "lead":
        raise NotPermitted(say("refused.needs_lead"))
    return caller


def sign_in_writer(caller: Annotated[Caller, Depends(sign_in)]) -> Caller:
    """Return who asks, if that is a lead or a coach."""
    if caller.role == "reader":
        raise NotPermitted(say("refused.reader"))
    return caller


def etag(answer: Answer) -> str:
    """Return the tag of a thing's state; a season's also tells its revision."""
    revision = getattr(answer, "revision", None)
    return f'"v{answer.version}"' if revision is None else f'"v{answer.version}.{revision}"'


def _sent(answered: Answered) -> Response:
    return Response(
        answered.body,
        status_code=answered.status,
        headers=answered.headers,
        media_type="application/json" if answered.body else None,
    )


def as_file(body: str | bytes, media_type: str, name: str) -> Response:
    """Return a body as a file to keep, under a name of ours."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(body, media_type=media_type, headers=headers)


@dataclass(frozen=True, slots=True)
class Reading:
    """One request that reads."""

    request: Request
    caller: Caller

    def one(self, verb: Callable[[Session, Caller, str], Answer], row_id: str) -> Response:
        """Answer one thing, or 304 where the asker already has this state of it."""
        with database(self.request).reading() as db:
            answer = verb(db, self.caller, row_id)
        tag = {"ETag": etag(answer), "Cache-Control": "private, no-cache"}
        known = self.request.headers.get("if-none-match", "")
        if tag["ETag"] in {each.strip() for each in known.split(",")}:
            return Response(status_code=304, headers=tag)
        return _sent(Answered(200, answer.model_dump_json(), tag))

    def page(
        self,
        verb: Callable[[Session, Caller, Query], tuple[list[Any], str | None]],
        query: Query,
    ) -> Response:
        """Answer one page of a list, with the address of the next."""
        with database(self.request).reading() as db:
            items, after = verb(db, self.caller, query)
        body = ",".join(item.model_dump_json() for item in items)
        headers = {}
        if after is not None:
            asked = query.filters() | {"limit": query.limit, "cursor": after}
            headers["Link"] = f'<{self.request.url.path}?{urlencode(asked)}>; rel="next"'
        cursor = "null" if after is None else f'"{after}"'
        return _sent(Answered(200, f'{{"items":[{body}],"next":{cursor}}}', headers))


@dataclass(frozen=True, slots=True)
class Writing:
    """One request that writes: one transaction, and the same answer to a retry."""

    request: Request
    caller: Caller
    body: bytes
    idempotency_key: str | None
    language: str = field(default_factory=current_language)

    def run(
        self,
        work: Callable[[Session, Caller], Answered],
        kept: Callable[[Answered], Answered] = lambda answered: answered,
    ) -> Response:
        """Do the work once and answer it; a retry under the same key gets what was kept of it."""
        with database(self.request).unit_of_work(self.caller.organisation_ids) as db:
            given = self._claimed(db)
            if given is None:
                given = work(db, self.caller)
                self.settle(db, kept(given))
            return _sent(given)

    def _claimed(self, db: Session) -> Answered | None:
        """Claim the key, if there is one; return the answer that a retry gets, or refuse it."""
        if self.idempotency_key is None:
            return None
        return claim(db, self.caller.key_id, self.idempotency_key, self._digest())

    @property
    def claims(self) -> tuple[str, str]:
        """Return what a retry is known by."""
        return self.caller.key_id, self.idempotency_key or ""

    def given(self, db: Session) -> Answered | ApiError | None:
        """Return the answer that a retry gets, or nothing where the work is still to be done."""
        try:
            return self._claimed(db)
        except ApiError as refusal:
            return refusal

    def settle(self, db: Session, outcome: Answered | ApiError) -> None:
        """Keep an answer for a retry; a refusal is not kept."""
        if self.idempotency_key is None:
            return
        if isinstance(outcome, ApiError):
            release(db, self.caller.key_id, self.idempotency_key)
        else:
            store_answer(db, self.caller.key_id, self.idempotency_key, outcome)

    def goes_with(self, other: "Writing") -> bool:
        """Tell whether two requests may share a transaction: no two tries, and both of one reach.

        They want one language too, since one of them speaks for all.
        """
        is_retry = self.idempotency_key is not None and self.claims == other.claims
        is_alike = (
            self.caller.organisation_ids == other.caller.organisation_ids
            and self.language == other.language
        )
        return is_alike and not is_retry

    def _digest(self) -> str:
        url = self.request.url
        return digest(self.request.method.encode(), f"{url.path}?{url.query}".encode(), self.body)

    def created(self, verb: Verb[Body], body: Body, location: str = "") -> Response:
        """Store a new thing and answer it with its address."""

        def work(db: Session, caller: Caller) -> Answered:
            return self.stored(verb(db, caller, body), 201, location)

        return self.run(work)

    def stored(self, answer: Answer, status: int, location: str = "") -> Answered:
        """Return the answer that shows a stored thing."""
        address = location or f"{self.request.url.path.rstrip('/')}/{answer.id}"
        headers = {"Location": address, "ETag": etag(answer)}
        return Answered(status, answer.model_dump_json(), headers)

    def done(
        self, verb: Callable[[Session, Caller, str, Any], Answer], row_id: str, body: BaseModel
    ) -> Response:
        """Do something with a thing, and answer its new state."""

        def work(db: Session, caller: Caller) -> Answered:
            answer = verb(db, caller, row_id, body)
            return Answered(200, answer.model_dump_json(), {"ETag": etag(answer)})

        return self.run(work)

    def changed(
        self,
        verb: Callable[[Session, Caller, str, Any, int], Answer],
        row_id: str,
        changes: BaseModel,
    ) -> Response:
        """Change a thing whose state the asker names, and answer its new state."""
        version = self._version()

        def work(db: Session, caller: Caller) -> Answered:
            answer = verb(db, caller, row_id, changes, version)
            return Answered(200, answer.model_dump_json(), {"ETag": etag(answer)})

        return self.run(work)

    def _version(self) -> int:
        """Return the version that If-Match names."""
        named = self.request.headers.get("if-match")
        if named is None:
            raise PreconditionMissing(say("refused.no_if_match"))
        if named.strip() == "*":
            return ANY_VERSION
        parts = ETAG.fullmatch(named.strip())
        if parts is None:
            raise Malformed(say("refused.odd_if_match"))
        return int(parts[1])


def run_together(
    writings: Sequence[Writing],
    work: Callable[[Session, Sequence[int]], Sequence[Answered | ApiError]],
) -> list[Response | Exception]:
    """Do what several requests ask in one transaction, each once; a retry gets what was kept.

    `work` gets the places of the requests that are still to be done, and answers each.
    """
    first = writings[0]
    with database(first.request).unit_of_work(first.caller.organisation_ids) as db:
        given: list[Answered | ApiError | None] = [None] * len(writings)
        # In one order for all, so that none block each other.
        for at in sorted(range(len(writings)), key=lambda at: writings[at].claims):
            given[at] = writings[at].given(db)
        to_do = [at for at, answer in enumerate(given) if answer is None]
        for at, outcome in zip(to_do, work(db, to_do), strict=True):
            writings[at].settle(db, outcome)
            given[at] = outcome
    return [_sent(each) if isinstance(each, Answered) else each for each in given if each]


IdempotencyKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        description="A text of your choice; the same request sent again under it is done once.",
    ),
]


def turns(request: Request) -> KeyLimits:
    """Return the turns of this programme."""
    found: KeyLimits = request.app.state.turns
    return found


@asynccontextmanager
async def _writing(request: Request, caller: Caller, key: str | None) -> AsyncIterator[Writing]:
    """Give a way to write when it is this request's turn.

    Writers wait here, in the event loop, and not in a thread, so that reads find one free.
    """
    writing = await _prepared(request, caller, key)
    async with turns(request).writing(caller), request.app.state.writers:
        yield writing


async def _prepared(request: Request, caller: Caller, key: str | None) -> Writing:
    if key is not None and not IDEMPOTENCY_KEY.fullmatch(key):
        words = say("refused.odd_idempotency_key")
        raise Invalid(words, [FieldError("idempotency_key", words)])
    return Writing(request, caller, await request.body(), key)


async def prepare(
    request: Request,
    caller: Annotated[Caller, Depends(sign_in_writer)],
    key: IdempotencyKey = None,
) -> Writing:
    """Give a coach or lead what is to be written, before it is its turn."""
    return await _prepared(request, caller, key)


async def write(
    request: Request,
    caller: Annotated[Caller, Depends(sign_in_writer)],
    key: IdempotencyKey = None,
) -> AsyncIterator[Writing]:
    """Give a coach or lead a way to write."""
    async with _writing(request, caller, key) as writing:
        yield writing


async def write_lead(
    request: Request,
    caller: Annotated[Caller, Depends(sign_in_lead)],
    key: IdempotencyKey = None,
) -> AsyncIterator[Writing]:
    """Give a lead a way to write."""
    async with _writing(request, caller, key) as writing:
        yield writing


IfMatch = Annotated[
    str | None, Header(alias="If-Match", description="ETag of the state you change.")
]


async def change(
    request: Request,
    caller: Annotated[Caller, Depends(sign_in_writer)],
    if_match: IfMatch = None,
) -> AsyncIterator[Writing]:
    """Give a coach or lead a way to change."""
    async with _writing(request, caller, None) as writing:
        yield writing


async def change_lead(
    request: Request,
    caller: Annotated[Caller, Depends(sign_in_lead)],
    if_match: IfMatch = None,
) -> AsyncIterator[Writing]:
    """Give a lead a way to change."""
    async with _writing(request, caller, None) as writing:
        yield writing


async def read(
    request: Request, caller: Annotated[Caller, Depends(sign_in)]
) -> AsyncIterator[Reading]:
    """Give a signed-in caller a way to read."""
    async with turns(request).reading(caller):
        yield Reading(request, caller)


async def read_lead(
    request: Request, caller: Annotated[Caller, Depends(sign_in_lead)]
) -> AsyncIterator[Reading]:
    """Give a lead a way to read."""
    async with turns(request).reading(caller):
        yield Reading(request, caller)


# In function scope a turn ends when the handler has returned, before the answer is sent.
Read = Annotated[Reading, Depends(read, scope="function")]
ReadLead = Annotated[Reading, Depends(read_lead, scope="function")]
Write = Annotated[Writing, Depends(write, scope="function")]
Prepared = Annotated[Writing, Depends(prepare)]
WriteLead = Annotated[Writing, Depends(write_lead, scope="function")]
Change = Annotated[Writing, Depends(change, scope="function")]
ChangeLead = Annotated[Writing, Depends(change_lead, scope="function")]

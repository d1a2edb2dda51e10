"""Answer requests that write: one transaction, committed before the answer, once for retries."""

import re
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Annotated, Any, TypeVar

from fastapi import Depends, Header, Request
from pydantic import BaseModel
from pydantic_core import to_json
from sqlmodel import Session
from starlette.responses import Response

from api.deps.conditions import etag, version_of
from api.deps.programme import database, turns
from api.deps.reading import response_of
from api.deps.signing_in import sign_in_lead, sign_in_writer
from api.errors import ApiError, FieldError, Invalid
from api.messages import current_language, say
from api.models.core.batches import Batch
from api.models.core.shapes import Answer
from api.services.access.idempotency import Answered, claim, digest, release, store_answer
from api.services.core import revisions
from api.services.core.scope import Caller
from api.services.core.together import store_together

IDEMPOTENCY_KEY = re.compile(r"[\x20-\x7e]{1,255}")
Body = TypeVar("Body")
Verb = Callable[[Session, Caller, Body], Answer]
#: Returns the answer to store for retries.
ToStore = Callable[[Answered], Answered]


def as_it_is(answered: Answered) -> Answered:
    """Return the same answer, to store it for retries."""
    return answered


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
        to_store: ToStore = as_it_is,
    ) -> Response:
        """Do the work once and answer it; a retry with the same key gets the stored answer."""
        with database(self.request).unit_of_work(self.caller.organisation_ids) as db:
            outcome = self._claimed(db)
            if outcome is None:
                outcome = work(db, self.caller)
                self.settle(db, to_store(outcome))
            return response_of(outcome)

    def _claimed(self, db: Session) -> Answered | None:
        """Claim the key, if there is one; return the stored answer for a retry, or refuse it."""
        if self.idempotency_key is None:
            return None
        return claim(db, self.caller.key_id, self.idempotency_key, self._digest())

    @property
    def claims(self) -> tuple[str, str]:
        """Return the parts that identify a retry."""
        return self.caller.key_id, self.idempotency_key or ""

    def answer_for_retry(self, db: Session) -> Answered | ApiError | None:
        """Return the answer for a retry or its refusal, or None if the work is still to be done."""
        try:
            return self._claimed(db)
        except ApiError as refusal:
            return refusal

    def settle(self, db: Session, outcome: Answered | ApiError) -> None:
        """Store an answer for a retry; a refusal is not stored."""
        if self.idempotency_key is None:
            return
        if isinstance(outcome, ApiError):
            release(db, self.caller.key_id, self.idempotency_key)
        else:
            store_answer(db, self.caller.key_id, self.idempotency_key, outcome)

    def goes_with(self, other: "Writing") -> bool:
        """Tell whether two requests may share a transaction.

        They must not be tries of the same request, and need the same organisations and language.
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

    def created(
        self,
        verb: Verb[Body],
        body: Body,
        location: str = "",
        to_store: ToStore = as_it_is,
    ) -> Response:
        """Store a new thing and answer it with its address."""

        def work(db: Session, caller: Caller) -> Answered:
            return self.stored(verb(db, caller, body), 201, location)

        return self.run(work, to_store)

    def created_together(
        self,
        verb: Verb[Body],
        batch: Batch[Body],
        to_store: ToStore = as_it_is,
    ) -> Response:
        """Store several new things, or none of them, and answer them in the same order."""

        def work(db: Session, caller: Caller) -> Answered:
            items = store_together(db, caller, verb, batch.items)
            return Answered(201, to_json({"items": items}, inf_nan_mode="null").decode(), {})

        return self.run(work, to_store)

    def stored(self, answer: Answer, status: int, location: str = "") -> Answered:
        """Return the answer with a stored thing."""
        address = location or f"{self.request.url.path.rstrip('/')}/{answer.id}"
        body = answer.model_dump_json()
        return Answered(status, body, {"Location": address, "ETag": etag(answer, body)})

    def done(
        self, verb: Callable[[Session, Caller, str, Any], Answer], row_id: str, body: BaseModel
    ) -> Response:
        """Do something with a thing, and answer its new state."""

        def work(db: Session, caller: Caller) -> Answered:
            answer = verb(db, caller, row_id, body)
            return _changed(answer)

        return self.run(work)

    def changed(
        self,
        verb: Callable[[Session, Caller, str, Any, int], Answer],
        row_id: str,
        changes: BaseModel,
    ) -> Response:
        """Change a thing in the state that If-Match names, and answer its new state."""
        version = version_of(self.request)

        def work(db: Session, caller: Caller) -> Answered:
            answer = verb(db, caller, row_id, changes, version)
            return _changed(answer)

        return self.run(work)


def _changed(answer: Answer) -> Answered:
    """Return the answer with the new state of a thing."""
    body = answer.model_dump_json()
    return Answered(200, body, {"ETag": etag(answer, body)})


def run_together(
    writings: Sequence[Writing],
    work: Callable[[Session, Sequence[int]], Sequence[Answered | ApiError]],
) -> list[Response | Exception]:
    """Do the work of several requests in one transaction; a retry gets its stored answer.

    `work` gets the indices of the requests that are still to be done, and answers each. It shares
    their seasons with other writers, unless it turns out to need one alone.
    """
    try:
        return _run_together(writings, work, shares_seasons=True)
    except revisions.SeasonIsShared:
        return _run_together(writings, work, shares_seasons=False)


def _run_together(
    writings: Sequence[Writing],
    work: Callable[[Session, Sequence[int]], Sequence[Answered | ApiError]],
    *,
    shares_seasons: bool,
) -> list[Response | Exception]:
    first = writings[0]
    with database(first.request).unit_of_work(first.caller.organisation_ids) as db:
        if shares_seasons:
            revisions.share_seasons(db)
        answers: list[Answered | ApiError | None] = [None] * len(writings)
        # Claim in the same order everywhere, so that transactions do not deadlock.
        for at in sorted(range(len(writings)), key=lambda at: writings[at].claims):
            answers[at] = writings[at].answer_for_retry(db)
        to_do = [at for at, answer in enumerate(answers) if answer is None]
        for at, outcome in zip(to_do, work(db, to_do), strict=True):
            writings[at].settle(db, outcome)
            answers[at] = outcome
    return [response_of(each) if isinstance(each, Answered) else each for each in answers if each]


IdempotencyKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        description="A text of your choice; the same request sent again under it is done once.",
    ),
]


@asynccontextmanager
async def _writing(request: Request, caller: Caller, key: str | None) -> AsyncIterator[Writing]:
    """Let a request write in its turn.

    Writers wait in the event loop, not in a thread, so that threads stay free for reads.
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
    """Let a coach or lead prepare a write, without waiting for a turn."""
    return await _prepared(request, caller, key)


async def write(
    request: Request,
    caller: Annotated[Caller, Depends(sign_in_writer)],
    key: IdempotencyKey = None,
) -> AsyncIterator[Writing]:
    """Let a coach or lead write."""
    async with _writing(request, caller, key) as writing:
        yield writing


async def write_lead(
    request: Request,
    caller: Annotated[Caller, Depends(sign_in_lead)],
    key: IdempotencyKey = None,
) -> AsyncIterator[Writing]:
    """Let a lead write."""
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
    """Let a coach or lead change a thing."""
    async with _writing(request, caller, None) as writing:
        yield writing


async def change_lead(
    request: Request,
    caller: Annotated[Caller, Depends(sign_in_lead)],
    if_match: IfMatch = None,
) -> AsyncIterator[Writing]:
    """Let a lead change a thing."""
    async with _writing(request, caller, None) as writing:
        yield writing


Write = Annotated[Writing, Depends(write, scope="function")]
WriteLead = Annotated[Writing, Depends(write_lead, scope="function")]
Change = Annotated[Writing, Depends(change, scope="function")]
ChangeLead = Annotated[Writing, Depends(change_lead, scope="function")]

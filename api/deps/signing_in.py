"""Identify the caller: a key is looked up once for a request, before its body is read."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Annotated

from fastapi import Depends, Request
from starlette.concurrency import run_in_threadpool

from api.deps.programme import database, limits
from api.errors import NotPermitted
from api.messages import say
from api.services.access import keys
from api.services.access.rate_limits import network_of
from api.services.core.scope import Caller


def look_at(request: Request, token: str, look: Callable[[str], Caller]) -> Caller:
    """Return the caller of a key; after too many wrong secrets, refuse further wrong ones.

    A correct secret always passes, even after many wrong ones from its network: forged keys must
    not lock a school out.
    """
    try:
        return look(token)
    except keys.WrongSecret as wrong:
        network = network_of(request.client.host if request.client else "")
        limits(request).note_guess(wrong.key_id, network)
        raise


async def sign_in(request: Request) -> Caller:
    """Return the caller, or refuse; looked up once for a request, before its body is read."""
    if "caller" not in request.scope:
        if database(request).looks_up_at_once:
            request.scope["caller"] = _caller(request)
        else:
            request.scope["caller"] = await run_in_threadpool(_caller, request)
    signed_in: Caller = request.scope["caller"]
    return signed_in


def _caller(request: Request) -> Caller:
    """Return the caller of the request's key, and count the request."""

    def look(token: str) -> Caller:
        with database(request).looking_up() as db:
            return keys.caller_with(db, token, datetime.now(UTC))

    caller = look_at(request, keys.token_of(request.headers.get("authorization")), look)
    request.scope["key_id"] = caller.key_id
    request.scope["rate"] = limits(request).take(caller.key_id).headers()
    return caller


async def sign_in_lead(caller: Annotated[Caller, Depends(sign_in)]) -> Caller:
    """Return the caller if it is a lead, or refuse."""
    if caller.role != "lead":
        raise NotPermitted(say("refused.needs_lead"))
    return caller


async def sign_in_writer(caller: Annotated[Caller, Depends(sign_in)]) -> Caller:
    """Return the caller if it is a lead or a coach, or refuse."""
    if caller.role == "reader":
        raise NotPermitted(say("refused.reader"))
    return caller

"""Who asks: a key is looked up once for a request, before its body is read."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Annotated

from fastapi import Depends, Request

from api.deps.programme import database, limits
from api.errors import NotPermitted
from api.messages import say
from api.services.access import keys
from api.services.access.limits import network_of
from api.services.core.scope import Caller


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

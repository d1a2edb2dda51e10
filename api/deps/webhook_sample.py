"""Try a webhook within a request, which holds no thread, turn or connection while it waits."""

import time
from collections.abc import Callable
from typing import TypeVar

from fastapi import Request
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool

from api.deps.programme import database, turns
from api.models.webhooks.webhooks import WebhookTested
from api.services.core.scope import Caller
from api.services.webhooks import deliveries
from api.services.webhooks.sending import Webhooks
from api.webhook_hosts import Hosts

Value = TypeVar("Value")


def hosts(request: Request) -> Hosts:
    """Return the hosts that webhooks may call."""
    return _webhooks(request).hosts


def _webhooks(request: Request) -> Webhooks:
    webhooks: Webhooks = request.app.state.webhooks
    return webhooks


async def sent(request: Request, caller: Caller, webhook_id: str) -> WebhookTested:
    """Send a test message; return what came of it."""
    webhooks = _webhooks(request)
    async with turns(request).reading(caller):
        message = await run_in_threadpool(
            _reading, request, lambda db: deliveries.sample(db, caller, webhook_id, webhooks.hosts)
        )
    async with turns(request).trying(caller), webhooks.samples:
        began_s = time.monotonic()
        outcome = await webhooks.client.send(
            message.url, message.secret, message.message_id, message.body
        )
        duration_s = time.monotonic() - began_s
    if outcome.fault is None and message.is_needed:
        async with turns(request).writing(caller), request.app.state.writers:
            await run_in_threadpool(_note_arrived, request, caller, webhook_id)
    return deliveries.tested(message, outcome, duration_s)


def _reading(request: Request, look: Callable[[Session], Value]) -> Value:
    with database(request).reading() as db:
        return look(db)


def _note_arrived(request: Request, caller: Caller, webhook_id: str) -> None:
    with database(request).unit_of_work(caller.organisation_ids) as db:
        deliveries.note_arrived(db, caller, webhook_id)

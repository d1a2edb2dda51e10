"""Choose what to send next, and store what came of it, each in a short transaction of its own.

Several processes may send: one that takes a message moves its due time past the end of the attempt,
and another that wanted the same one then finds it no longer due. If a process dies in between, the
message is due again a minute later and is sent under the same id.
"""

import random
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import text
from sqlmodel import Session, col, delete, func, select, update

from api.models.webhooks.deliveries import WebhookDelivery
from api.models.webhooks.webhooks import OffReason, Webhook
from api.services.webhooks.messages import body_of
from api.services.webhooks.outbox import works
from api.services.webhooks.sending import Outcome

#: How long after each attempt that failed the next one follows. [s]
RETRY_AFTER_S = (10, 60, 600, 3600, 6 * 3600, 24 * 3600)
#: By how much an attempt may be later or earlier, so that receivers are not called all at once.
JITTER = 0.1
#: How long an attempt may take before the message is due again. [s]
LEASE_S = 60
#: A webhook is switched off when a message has failed and none has arrived for so many days.
OFF_AFTER_DAYS = 5
#: How long deliveries can be listed. [days]
LISTED_DAYS = 30
_pending = text("state = 'pending'")


@dataclass(frozen=True, slots=True)
class Attempt:
    """One message to send now."""

    message_id: str
    webhook_id: str
    url: str
    secret: str
    body: bytes
    number: int


def due(
    db: Session, now: datetime, most: int, busy: Collection[str], begun: Mapping[str, int]
) -> list[Attempt]:
    """Return the oldest due message of each of the webhooks whose turn it is, at most so many.

    `begun` has the number of each webhook's last message; those that had none for longest are next.
    So a school with many messages to slow receivers delays those of others by one turn only.
    """
    webhook_id, first_at = col(Webhook.id), func.min(col(WebhookDelivery.due_at))
    waiting = (
        select(webhook_id)
        .join(WebhookDelivery, col(WebhookDelivery.webhook_id) == webhook_id)
        .where(*_is_due(now), works(now), webhook_id.not_in(busy))
        .group_by(webhook_id)
        .order_by(first_at)
    )
    in_turn = sorted(db.scalars(waiting), key=lambda each: begun.get(each, 0))
    return [_oldest(db, now, each) for each in in_turn[:most]]


def _oldest(db: Session, now: datetime, webhook_id: str) -> Attempt:
    """Return the message of a webhook that has been due for longest."""
    rows = (
        select(WebhookDelivery, Webhook)
        .join(Webhook, col(Webhook.id) == col(WebhookDelivery.webhook_id))
        .where(*_is_due(now), col(Webhook.id) == webhook_id)
        .order_by(col(WebhookDelivery.due_at), col(WebhookDelivery.id))
    )
    return _attempt(*db.execute(rows.limit(1)).one())


def take(db: Session, now: datetime, wanted: Collection[Attempt]) -> list[Attempt]:
    """Take messages that are still due, so that no other process takes them; return those."""
    by_id = {each.message_id: each for each in wanted}
    taken = (
        update(WebhookDelivery)
        .where(col(WebhookDelivery.id).in_(by_id), *_is_due(now))
        .values(due_at=now + timedelta(seconds=LEASE_S), attempts=WebhookDelivery.attempts + 1)
        .returning(col(WebhookDelivery.id), col(WebhookDelivery.attempts))
        .execution_options(synchronize_session=False)
    )
    return [replace(by_id[row_id], number=number) for row_id, number in db.execute(taken)]


def _is_due(now: datetime) -> tuple[Any, ...]:
    return _pending, col(WebhookDelivery.due_at) <= now


def _attempt(delivery: WebhookDelivery, webhook: Webhook) -> Attempt:
    body, number = body_of(delivery.kind, delivery.created_at, delivery.data), delivery.attempts + 1
    return Attempt(delivery.id, webhook.id, webhook.url, webhook.secret, body, number)


def settle(
    db: Session,
    attempt: Attempt,
    outcome: Outcome,
    now: datetime,
    drawn: Callable[[float, float], float] = random.uniform,
) -> str:
    """Store what came of an attempt; return the state of its message."""
    values = _after(attempt.number, outcome, now, drawn)
    same = col(WebhookDelivery.id) == attempt.message_id, _pending
    # Another process may have taken the message meanwhile, if this attempt took too long.
    still_ours = col(WebhookDelivery.attempts) == attempt.number
    db.execute(update(WebhookDelivery).where(*same, still_ours).values(**values))
    webhook = db.get(Webhook, attempt.webhook_id)
    if webhook is not None:
        _note(db, webhook, outcome, now, has_failed=values["state"] == "failed")
    return str(values["state"])


def _after(
    number: int, outcome: Outcome, now: datetime, drawn: Callable[[float, float], float]
) -> dict[str, Any]:
    """Return the new values of a message after an attempt."""
    came = {"status_code": outcome.status_code, "fault": outcome.fault}
    if outcome.fault is None:
        return came | {"state": "delivered", "ended_at": now}
    if number > len(RETRY_AFTER_S) or outcome.fault == "gone":
        return came | {"state": "failed", "ended_at": now}
    wait = RETRY_AFTER_S[number - 1] * drawn(1 - JITTER, 1 + JITTER)
    due = now + timedelta(seconds=max(wait, outcome.retry_after_s))
    return came | {"state": "pending", "due_at": due}


def _note(
    db: Session, webhook: Webhook, outcome: Outcome, now: datetime, *, has_failed: bool
) -> None:
    """Note whether a receiver can be reached; switch its webhook off if it is gone for good."""
    if outcome.fault is None:
        webhook.failing_since = None
        return
    webhook.failing_since = webhook.failing_since or now
    if outcome.fault == "gone":
        switch_off(db, webhook, "gone", now)
    elif has_failed and now - webhook.failing_since >= timedelta(days=OFF_AFTER_DAYS):
        switch_off(db, webhook, "failing", now)


def switch_off(db: Session, webhook: Webhook, reason: OffReason, now: datetime) -> None:
    """Switch a webhook off, and cancel its pending messages."""
    webhook.switched_off_at, webhook.off_reason = now, reason
    webhook.version += 1
    of_webhook = col(WebhookDelivery.webhook_id) == webhook.id
    cancelled = {"state": "cancelled", "ended_at": now}
    db.execute(update(WebhookDelivery).where(of_webhook, _pending).values(**cancelled))


def switch_on(webhook: Webhook) -> None:
    """Switch a webhook on again, after a test message has reached its receiver."""
    if webhook.switched_off_at is not None:
        webhook.version += 1
    webhook.switched_off_at = webhook.off_reason = webhook.failing_since = None


def forget(db: Session, now: datetime) -> int:
    """Delete the deliveries that are listed no longer; return how many."""
    over = col(WebhookDelivery.created_at) < now - timedelta(days=LISTED_DAYS)
    return db.connection().execute(delete(WebhookDelivery).where(over)).rowcount

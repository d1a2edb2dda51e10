"""List what a webhook sent and will send, and try it with a message of its own."""

from dataclasses import dataclass
from datetime import UTC, datetime

from sqlmodel import Session, col

from api.messages import say
from api.models.core.ids import new_id
from api.models.webhooks.deliveries import DeliveryQuery, DeliveryRead, WebhookDelivery
from api.models.webhooks.webhooks import Webhook, WebhookTested
from api.services.core import pages, resources
from api.services.core.pages import Rest
from api.services.core.scope import Caller
from api.services.webhooks import attempts
from api.services.webhooks.messages import TEST, body_of
from api.services.webhooks.sending import Fault, Outcome
from api.services.webhooks.webhooks import require_allowed
from api.webhook_hosts import Hosts


def page(
    db: Session, caller: Caller, webhook_id: str, query: DeliveryQuery
) -> tuple[list[DeliveryRead], Rest]:
    """Return a page of the deliveries of a webhook."""
    webhook = resources.get_row(db, caller, Webhook, webhook_id)
    of_webhook = col(WebhookDelivery.webhook_id) == webhook.id
    rows, rest = pages.page(db, caller, WebhookDelivery, query, of_webhook)
    return [_read(row) for row in rows], rest


def _read(row: WebhookDelivery) -> DeliveryRead:
    fault: Fault | None = row.fault  # type: ignore[assignment]  # the database has it as text
    return resources.read(
        DeliveryRead,
        row,
        path=row.data["path"],
        next_attempt_at=row.due_at if row.state == "pending" else None,
        sentence=sentence_of(Outcome(row.status_code, fault)) if fault else None,
    )


def sentence_of(outcome: Outcome) -> str:
    """Return what came of an attempt in words."""
    key = "delivered" if outcome.fault is None else outcome.fault
    return say(f"webhook_came.{key}", status=outcome.status_code or 0)


@dataclass(frozen=True, slots=True)
class Sample:
    """A message to try a webhook with; `is_needed` if the webhook is off or failing."""

    webhook_id: str
    message_id: str
    url: str
    secret: str
    body: bytes
    is_needed: bool


def sample(db: Session, caller: Caller, webhook_id: str, hosts: Hosts) -> Sample:
    """Return a message to try a webhook with, also one that is off."""
    row = resources.get_row(db, caller, Webhook, webhook_id)
    require_allowed(row.url, hosts)
    data = {"webhook_id": row.id, "path": f"/v1/webhooks/{row.id}"}
    return Sample(
        webhook_id=row.id,
        message_id=new_id(WebhookDelivery.prefix),
        url=row.url,
        secret=row.secret,
        body=body_of(TEST, datetime.now(UTC), data),
        is_needed=row.failing_since is not None or row.switched_off_at is not None,
    )


def note_arrived(db: Session, caller: Caller, webhook_id: str) -> None:
    """Switch a webhook on again, since a test message has arrived."""
    attempts.switch_on(resources.get_row(db, caller, Webhook, webhook_id))


def tested(message: Sample, outcome: Outcome, duration_s: float) -> WebhookTested:
    """Return what came of a test message, without anything that the receiver wrote."""
    return WebhookTested(
        delivered=outcome.fault is None,
        status_code=outcome.status_code,
        duration_ms=round(1000 * duration_s),
        message_id=message.message_id,
        sentence=sentence_of(outcome),
    )

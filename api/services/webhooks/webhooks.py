"""Make, list and remove webhooks.

A secret signs messages, so it is stored as it is; only the answer to the creation shows it.
"""

from collections.abc import Sequence
from datetime import UTC, datetime

from sqlmodel import Session, col, delete, func, select

from api.errors import Conflict, FieldError, Invalid
from api.messages import say
from api.models.core.ids import new_id
from api.models.registry.organisations import Organisation
from api.models.webhooks.deliveries import WebhookDelivery
from api.models.webhooks.webhooks import (
    Webhook,
    WebhookCreate,
    WebhookMade,
    WebhookQuery,
    WebhookRead,
)
from api.services.core import audit, pages, resources, turns
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.webhooks.outbox import works
from api.services.webhooks.signatures import new_secret
from api.webhook_hosts import Hosts, address_of

#: How many webhooks a school may have, and how many the programme itself.
MOST = 10


def create(db: Session, caller: Caller, webhook: WebhookCreate, hosts: Hosts) -> WebhookMade:
    """Make a webhook; only this answer has its secret."""
    if webhook.organisation_id is not None:
        resources.get_row(db, caller, Organisation, webhook.organisation_id, "organisation_id")
    require_owner(caller, webhook.organisation_id)
    require_allowed(webhook.url, hosts)
    _require_room(db, webhook.organisation_id)
    row = resources.store(
        db, caller, Webhook, webhook,
        id=new_id(Webhook.prefix), key_id=caller.key_id, secret=new_secret(),
    )  # fmt: skip
    return WebhookMade.model_validate(_read(db, [row])[0].model_dump() | {"secret": row.secret})


def require_allowed(url: str, hosts: Hosts) -> None:
    """Refuse an address whose host the operator did not name."""
    if not hosts:
        raise Conflict(say("refused.no_webhooks"))
    address = address_of(url)
    if address is None or not address.is_among(hosts):
        place = "" if address is None else f"{address.host}:{address.port}"
        words = say("refused.webhook_host", host=place)
        raise Invalid(words, [FieldError("webhook_host", words, pointer="/url")])


def _require_room(db: Session, organisation_id: str | None) -> None:
    """Refuse more webhooks than one owner may have, also if two are made at once."""
    turns.take(db, ["webhooks"])
    of_owner = col(Webhook.organisation_id).is_not_distinct_from(organisation_id)
    if (db.scalar(select(func.count()).select_from(Webhook).where(of_owner)) or 0) >= MOST:
        raise Conflict(say("refused.most_webhooks", most=MOST))


def _read(db: Session, rows: Sequence[Webhook]) -> list[WebhookRead]:
    ids = [row.id for row in rows]
    is_on = select(Webhook.id).where(col(Webhook.id).in_(ids), works(datetime.now(UTC)))
    working = set(db.scalars(is_on))
    return [
        resources.read(WebhookRead, row, state="on", reason=None)
        if row.id in working
        else resources.read(WebhookRead, row, state="off", reason=_reason(row))
        for row in rows
    ]


def _reason(row: Webhook) -> str:
    return say(f"webhook_off.{row.off_reason or 'key_ended'}")


def get(db: Session, caller: Caller, webhook_id: str) -> WebhookRead:
    """Return a webhook without its secret."""
    return _read(db, [resources.get_row(db, caller, Webhook, webhook_id)])[0]


def page(db: Session, caller: Caller, query: WebhookQuery) -> tuple[list[WebhookRead], Rest]:
    """Return a page of webhooks without their secrets."""
    rows, rest = pages.page(db, caller, Webhook, query)
    return _read(db, rows), rest


def remove(db: Session, caller: Caller, webhook_id: str) -> None:
    """Remove a webhook with its deliveries; what was not sent yet never will be."""
    row = resources.get_row(db, caller, Webhook, webhook_id)
    db.execute(delete(WebhookDelivery).where(col(WebhookDelivery.webhook_id) == row.id))
    db.delete(row)
    db.flush()
    audit.note(db, caller, "removed", row)

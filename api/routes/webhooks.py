"""Webhooks over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from sqlmodel import Session
from starlette.responses import Response

from api.deps import Read, Write, limits, sign_in_writer, webhook_sample
from api.errors import NotPermitted
from api.models.core.pages import Page
from api.models.webhooks.deliveries import DeliveryQuery, DeliveryRead
from api.models.webhooks.webhooks import (
    WebhookCreate,
    WebhookMade,
    WebhookQuery,
    WebhookRead,
    WebhookTested,
)
from api.routes.contract import LIST, SHOW, WRITE, StrictRoute, private_json, refusals
from api.services.access.idempotency import Answered
from api.services.core.pages import Rest
from api.services.core.scope import Caller
from api.services.webhooks import deliveries, webhooks

router = APIRouter(
    prefix="/webhooks",
    tags=["webhooks"],
    route_class=StrictRoute,
    # An address may have a secret in its path, which a reader need not know.
    dependencies=[Depends(sign_in_writer)],
)
Coach = Annotated[Caller, Depends(sign_in_writer)]
NOT_FOR_READERS = refusals(NotPermitted)


@router.post("", status_code=201, response_model=WebhookMade, responses=WRITE)
def create_webhook(webhook: WebhookCreate, write: Write) -> Response:
    """Make a webhook, to a host that the operator allows. The answer shows its secret this once.

    Messages follow the Standard Webhooks specification: verify `webhook-signature` with the secret.
    A message names what happened and an address of this API, and no figures.
    """

    def make(db: Session, caller: Caller, facts: WebhookCreate) -> WebhookMade:
        return webhooks.create(db, caller, facts, webhook_sample.hosts(write.request))

    return write.created(make, webhook, to_store=_without_secret)


def _without_secret(answered: Answered) -> Answered:
    return answered.shown_as(WebhookRead)


@router.get("", response_model=Page[WebhookRead], responses=LIST | NOT_FOR_READERS)
def list_webhooks(query: Annotated[WebhookQuery, Query()], read: Read) -> Response:
    """List the webhooks of the schools that the key reaches, oldest first."""
    return read.page(webhooks.page, query)


@router.get("/{webhook_id}", response_model=WebhookRead, responses=SHOW | NOT_FOR_READERS)
def get_webhook(webhook_id: str, read: Read) -> Response:
    """Show a webhook, without its secret; while it is off, with the reason."""
    return read.one(webhooks.get, webhook_id)


@router.delete("/{webhook_id}", status_code=204, responses=WRITE)
def remove_webhook(webhook_id: str, write: Write) -> Response:
    """Remove a webhook, with all that it has not sent yet."""

    def work(db: Session, caller: Caller) -> Answered:
        webhooks.remove(db, caller, webhook_id)
        return Answered(204, "")

    return write.run(work)


@router.get(
    "/{webhook_id}/deliveries", response_model=Page[DeliveryRead], responses=SHOW | NOT_FOR_READERS
)
def list_webhook_deliveries(
    webhook_id: str, query: Annotated[DeliveryQuery, Query()], read: Read
) -> Response:
    """List what a webhook sent in the last 30 days and has still to send, newest first."""

    def listed(
        db: Session, caller: Caller, asked: DeliveryQuery
    ) -> tuple[list[DeliveryRead], Rest]:
        return deliveries.page(db, caller, webhook_id, asked)

    return read.page(listed, query)


@router.post("/{webhook_id}/test", response_model=WebhookTested, responses=WRITE)
async def test_webhook(webhook_id: str, request: Request, caller: Coach) -> Response:
    """Send a test message at once, and answer what came back within ten seconds.

    A webhook that was switched off is on again once a test message has arrived.
    """
    limits(request).take_today("webhook_tests", caller.key_id)
    return private_json(await webhook_sample.sent(request, caller, webhook_id))

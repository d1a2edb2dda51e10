"""The messages of webhooks, for the API document: what a receiver must be able to take."""

from fastapi import APIRouter

from api.models.webhooks.messages import WebhookMessage

router = APIRouter(tags=["webhooks"], generate_unique_id_function=lambda route: route.name)


@router.post("trial.needs_answer")
def trial_needs_answer(message: WebhookMessage) -> None:
    """Announce a trial that is not counted until a question of the data checks is answered.

    It may come twice, under one `webhook-id`. A 2xx is a delivery, 410 switches the webhook off,
    and after anything else the message is sent again, up to six times in about 31 hours.
    """


@router.post("import.stored")
def import_stored(message: WebhookMessage) -> None:
    """Announce an import that was stored; the key that made it can read it, and a lead's."""


@router.post("event.result")
def event_result(message: WebhookMessage) -> None:
    """Announce that an event has a result, or another one than before."""


@router.post("webhook.test")
def webhook_test(message: WebhookMessage) -> None:
    """Try the webhook, because somebody asked for it."""

"""The message that a webhook sends."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, Field

from api.models.webhooks.webhooks import Kind


class MessageData(BaseModel):
    """What a message is about: ids and an address, no figures and no texts."""

    path: Annotated[str, Field(description="Where this API tells the newest state of it.")]
    organisation_id: Annotated[str | None, Field(description="The school of a held trial.")] = None
    trial_id: Annotated[
        str | None,
        Field(description="Left out if more than 20 trials of a school are held at once."),
    ] = None
    import_id: str | None = None
    event_id: str | None = None
    webhook_id: Annotated[str | None, Field(description="Of a test message.")] = None


class WebhookMessage(BaseModel):
    """What a receiver gets, signed after the Standard Webhooks specification."""

    type: Kind | Literal["webhook.test"]
    timestamp: Annotated[datetime, Field(description="When it happened, in UTC.")]
    data: MessageData

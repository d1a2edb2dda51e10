"""A webhook: an address that gets a signed message when something happens."""

from datetime import datetime
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field, StringConstraints
from sqlalchemy import JSON
from sqlmodel import Field as Column
from sqlmodel import SQLModel

from api.models.core.faults import fault
from api.models.core.ids import OrganisationId
from api.models.core.shapes import Answer, Input, ListQuery, Stored, Untabled
from api.webhook_hosts import address_of

#: What happened: a data check holds a trial, an import was stored, an event has a result.
Kind = Literal["trial.needs_answer", "import.stored", "event.result"]
#: Why a webhook is off: nothing reached its receiver for days, or it answered that it is gone.
OffReason = Literal["failing", "gone"]
State = Literal["on", "off"]


def _called(url: str) -> str:
    """Refuse an address that a webhook cannot have."""
    address = address_of(url)
    if address is None:
        raise fault("webhook_url", "fault.webhook_url")
    if not address.is_secret_on_the_way:
        raise fault("webhook_https", "fault.webhook_https")
    return url


def _each_once(kinds: list[Kind]) -> list[Kind]:
    return sorted(set(kinds))


WebhookUrl = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=500),
    AfterValidator(_called),
    Field(examples=["https://hooks.example/gustbook"]),
]
Kinds = Annotated[list[Kind], Field(min_length=1, max_length=20), AfterValidator(_each_once)]


class WebhookFacts(SQLModel):
    """The fields that all shapes of a webhook have."""

    organisation_id: OrganisationId | None = Column(
        default=None,
        foreign_key="organisation.id",
        index=True,
        description="The school whose trials and imports it is about; null for all schools, "
        "which needs a lead's key.",
    )
    url: WebhookUrl = Column(
        description="Where messages are sent, with https; its host must be one that the operator "
        "allows.",
    )
    kinds: Kinds = Column(sa_type=JSON, description="What its messages are about.")


class Webhook(WebhookFacts, Stored, table=True):
    """A stored webhook; it works as long as the key that made it."""

    __tablename__ = "webhook"
    prefix: ClassVar[str] = "whk"

    key_id: str = Column(foreign_key="access_key.id", index=True)
    #: Messages are signed with it, so that a digest of it would not do.
    secret: str
    failing_since: datetime | None = None
    switched_off_at: datetime | None = None
    off_reason: str | None = None


class WebhookCreate(WebhookFacts, Input):
    """A webhook to make."""


class WebhookRead(WebhookFacts, Answer):
    """A webhook as stored; its secret is not shown again."""

    state: Annotated[State, Field(description="off: nothing is sent; `reason` says why.")]
    reason: str | None
    failing_since: Annotated[
        datetime | None, Field(description="Since when no message has reached the receiver.")
    ]


class WebhookMade(WebhookRead):
    """A new webhook with its secret, shown this once."""

    secret: Annotated[
        str | None,
        Field(
            description="Verify signatures with it. It is shown once, and left out of a retry: "
            "keep it safe."
        ),
    ] = None


class WebhookQuery(ListQuery):
    """Which webhooks to list."""

    organisation_id: OrganisationId | None = None


class WebhookTested(Untabled):
    """What came back of a test message."""

    delivered: Annotated[bool, Field(description="Whether the receiver took it, with a 2xx.")]
    status_code: Annotated[
        int | None, Field(description="What the receiver answered; null if it did not answer.")
    ]
    duration_ms: Annotated[int, Field(description="Until the receiver's answer. [ms]")]
    message_id: Annotated[str, Field(description="The header webhook-id of the message.")]
    sentence: str

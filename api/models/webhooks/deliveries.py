"""A delivery: one message to one webhook, from what happened until it has arrived or failed."""

from datetime import datetime
from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field
from sqlalchemy import JSON, Index, text
from sqlmodel import Field as Column

from api.models.core.shapes import Answer, PageQuery, Stored
from api.models.webhooks.webhooks import Kind

State = Literal["pending", "delivered", "failed", "cancelled"]
_PENDING, _UNTRIED = text("state = 'pending'"), text("state = 'pending' AND attempts = 0")


class WebhookDelivery(Stored, table=True):
    """A stored message; its id is what the receiver knows it by, however often it is sent.

    It is stored in the transaction of what happened. At most one message about a thing has not been
    tried yet: what happens again until then needs no other one, as messages have no figures.
    """

    __tablename__ = "webhook_delivery"
    prefix: ClassVar[str] = "msg"
    __table_args__ = (
        Index(
            "uq_webhook_delivery_untried", "webhook_id", "kind", "thing_id",
            unique=True, sqlite_where=_UNTRIED, postgresql_where=_UNTRIED,
        ),
        Index(
            "ix_webhook_delivery_due", "due_at", sqlite_where=_PENDING, postgresql_where=_PENDING
        ),
        Index("ix_webhook_delivery_webhook_id_id", "webhook_id", "id"),
    )  # fmt: skip

    webhook_id: str = Column(foreign_key="webhook.id")
    kind: str
    thing_id: str
    organisation_id: str | None = Column(default=None, foreign_key="organisation.id", index=True)
    data: dict[str, Any] = Column(sa_type=JSON)
    state: str = "pending"
    attempts: int = 0
    #: When it is sent next; while it is being sent, when another process may try it.
    due_at: datetime
    status_code: int | None = None
    fault: str | None = None
    ended_at: datetime | None = None


class DeliveryRead(Answer):
    """A delivery as stored."""

    kind: Kind
    state: Annotated[
        State,
        Field(
            description="pending: it is sent at `next_attempt_at`; failed: after the last attempt; "
            "cancelled: its webhook was switched off before."
        ),
    ]
    path: Annotated[str, Field(description="Address in this API of what it is about.")]
    attempts: Annotated[int, Field(description="How often it was sent.")]
    next_attempt_at: Annotated[datetime | None, Field(description="null once it has ended.")]
    ended_at: datetime | None
    status_code: Annotated[int | None, Field(description="Of the receiver's last answer.")]
    sentence: Annotated[str | None, Field(description="Why the last attempt failed.")]


class DeliveryQuery(PageQuery):
    """Which page of the deliveries of a webhook."""

    sort: Annotated[
        Literal["created_at", "-created_at"], Field(description="The order; the newest first.")
    ] = "-created_at"
    state: State | None = None

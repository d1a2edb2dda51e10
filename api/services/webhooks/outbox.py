"""Store what webhooks are to send, in the transaction of what happened.

So a message exists if and only if its cause was committed: none is lost in a crash, and none is
about a change that was undone. Nothing is asked of the database unless something happened that a
webhook may be about.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, and_, exists, or_
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, SQLModel, col, select

from api.models.access.keys import AccessKey, KeyOrganisation
from api.models.core.ids import new_id
from api.models.webhooks.deliveries import WebhookDelivery
from api.models.webhooks.webhooks import Kind, Webhook
from api.services.core.turns import is_server

DELIVERIES = SQLModel.metadata.tables["webhook_delivery"]
#: Trials of one school that a check of a bench may announce one by one; more are one message.
MOST_TRIALS = 20


@dataclass(frozen=True, slots=True)
class _Happening:
    """What happened to a thing; `schools` are those that may know, None is all of them."""

    kind: Kind
    thing_id: str
    data: dict[str, Any]
    schools: frozenset[str] | None

    def concerns(self, webhook: Webhook) -> bool:
        """Tell whether a webhook is about this."""
        owner = webhook.organisation_id
        is_allowed = owner is None or self.schools is None or owner in self.schools
        return self.kind in webhook.kinds and is_allowed


def works(now: datetime) -> ColumnElement[bool]:
    """Return the condition on webhooks that are on, and whose key is valid and reaches as far."""
    # The innermost query is about a table two levels up, which it does not find by itself.
    reaches = (
        exists()
        .where(
            col(KeyOrganisation.key_id) == col(Webhook.key_id),
            col(KeyOrganisation.organisation_id) == col(Webhook.organisation_id),
        )
        .correlate(Webhook)
    )
    key_is_good = exists().where(
        col(AccessKey.id) == col(Webhook.key_id),
        col(AccessKey.revoked_at).is_(None),
        or_(col(AccessKey.expires_at).is_(None), col(AccessKey.expires_at) > now),
        or_(col(AccessKey.role) == "lead", reaches),
    )
    return and_(col(Webhook.switched_off_at).is_(None), key_is_good)


def note_held(db: Session, trials: Sequence[tuple[str, str]]) -> None:
    """Store messages that trials need an answer; `trials` are ids, each with its school's."""
    _note(db, list(_held(trials)))


def _held(trials: Sequence[tuple[str, str]]) -> Iterator[_Happening]:
    for school in sorted({school for _, school in trials}):
        ids = sorted(trial_id for trial_id, owner in trials if owner == school)
        if len(ids) <= MOST_TRIALS:
            things = [(each, {"trial_id": each}, f"/v1/trials/{each}") for each in ids]
        else:
            things = [(school, {}, f"/v1/trials?organisation_id={school}&state=held")]
        for thing_id, named, path in things:
            data = named | {"organisation_id": school, "path": path}
            yield _Happening("trial.needs_answer", thing_id, data, frozenset({school}))


def note_import(db: Session, import_id: str, schools: Collection[str]) -> None:
    """Store messages that an import was stored, for the schools that it is about."""
    data = {"import_id": import_id, "path": f"/v1/imports/{import_id}"}
    _note(db, [_Happening("import.stored", import_id, data, frozenset(schools))])


def note_result(db: Session, event_id: str) -> None:
    """Store messages that an event has a result, for all schools, which may all see it."""
    data = {"event_id": event_id, "path": f"/v1/events/{event_id}/results"}
    _note(db, [_Happening("event.result", event_id, data, None)])


def _note(db: Session, happenings: Sequence[_Happening]) -> None:
    now = datetime.now(UTC)
    webhooks = db.scalars(select(Webhook).where(works(now))).all() if happenings else []
    rows = [
        _row(webhook, each, now)
        for webhook in webhooks
        for each in happenings
        if each.concerns(webhook)
    ]
    if rows:
        dialect = postgresql if is_server(db) else sqlite
        db.connection().execute(dialect.insert(DELIVERIES).on_conflict_do_nothing(), rows)


def _row(webhook: Webhook, happening: _Happening, now: datetime) -> dict[str, Any]:
    return {
        "id": new_id(WebhookDelivery.prefix),
        "version": 1,
        "created_at": now,
        "as_typed": {},
        "webhook_id": webhook.id,
        "kind": happening.kind,
        "thing_id": happening.thing_id,
        "organisation_id": happening.data.get("organisation_id"),
        "data": happening.data,
        "state": "pending",
        "attempts": 0,
        "due_at": now,
    }

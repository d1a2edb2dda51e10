"""Answer a retried request as the first one was answered.

The first statement in the transaction of the work inserts a row that claims the key:
a second request with the same key waits for it, then reads the answer.
"""

import hashlib
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

from pydantic import BaseModel
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, col, select

from api.errors import FieldError, Invalid
from api.messages import say
from api.models.access.idempotency import StoredAnswer


@dataclass(frozen=True, slots=True)
class Answered:
    """A finished answer, ready to be sent or stored."""

    status: int
    body: str
    headers: dict[str, str] = field(default_factory=dict)

    def shown_as(self, shape: type[BaseModel], exclude: Any = None) -> "Answered":
        """Return the answer with what a shape shows, and no more: without a secret, for retries."""
        shown = shape.model_validate_json(self.body, extra="ignore")
        return replace(self, body=shown.model_dump_json(exclude=exclude))


def digest(*parts: bytes) -> str:
    """Return a digest of a request: its method, address and body."""
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def claim(db: Session, key_id: str, idempotency_key: str, request_digest: str) -> Answered | None:
    """Claim a key for this request, or return the answer stored under it."""
    row = {
        "key_id": key_id,
        "idempotency_key": idempotency_key,
        "digest": request_digest,
        "headers": {},
        "body": "",
        "created_at": datetime.now(UTC),
    }
    dialect = sqlite if db.get_bind().dialect.name == "sqlite" else postgresql
    insert = dialect.insert(StoredAnswer).values(row).on_conflict_do_nothing()
    if db.connection().execute(insert.returning(col(StoredAnswer.key_id))).first():
        return None
    stored = db.get_one(StoredAnswer, (key_id, idempotency_key))
    if stored.digest != request_digest:
        words = say("refused.idempotency_key_reused")
        raise Invalid(words, [FieldError("idempotency_key_reused", words)])
    answered = _answered(stored)
    return replace(answered, headers=answered.headers | {"Idempotent-Replayed": "true"})


def _answered(stored: StoredAnswer) -> Answered:
    headers = {name: str(value) for name, value in stored.headers.items()}
    return Answered(stored.status, stored.body, headers)


def stored_answer(db: Session, key_id: str, beginning: str) -> Answered | None:
    """Return the stored answer whose key begins so: the same form, sent with other content."""
    alike = (
        col(StoredAnswer.key_id) == key_id,
        col(StoredAnswer.idempotency_key).startswith(beginning, autoescape=True),
        col(StoredAnswer.status) != 0,
    )
    stored = db.scalars(select(StoredAnswer).where(*alike)).first()
    return None if stored is None else _answered(stored)


def release(db: Session, key_id: str, idempotency_key: str) -> None:
    """Release a claimed key: the request was refused, and may be corrected and sent again."""
    db.delete(db.get_one(StoredAnswer, (key_id, idempotency_key)))


def store_answer(db: Session, key_id: str, idempotency_key: str, answered: Answered) -> None:
    """Store an answer under its claimed key."""
    stored = db.get_one(StoredAnswer, (key_id, idempotency_key))
    stored.status, stored.body, stored.headers = answered.status, answered.body, answered.headers

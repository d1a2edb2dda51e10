"""Retries get the answer that the first try got.

The claim on a key is a row written first in the transaction of the work itself:
a second request with the same key waits for it, then finds the answer.
"""

import hashlib
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, col, select

from api.errors import FieldError, Invalid
from api.messages import say
from api.models.access.idempotency import GivenAnswer


@dataclass(frozen=True, slots=True)
class Answered:
    """A finished answer, ready to be sent or kept."""

    status: int
    body: str
    headers: dict[str, str] = field(default_factory=dict)


def digest(*parts: bytes) -> str:
    """Return what tells one request from another: method, address and body."""
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def claim(db: Session, key_id: str, idempotency_key: str, request_digest: str) -> Answered | None:
    """Claim a key for this request, or return the answer it already got."""
    row = {
        "key_id": key_id,
        "idempotency_key": idempotency_key,
        "digest": request_digest,
        "headers": {},
        "body": "",
        "created_at": datetime.now(UTC),
    }
    dialect = sqlite if db.get_bind().dialect.name == "sqlite" else postgresql
    mine = dialect.insert(GivenAnswer).values(row).on_conflict_do_nothing()
    if db.connection().execute(mine.returning(col(GivenAnswer.key_id))).first():
        return None
    given = db.get_one(GivenAnswer, (key_id, idempotency_key))
    if given.digest != request_digest:
        words = say("refused.idempotency_key_reused")
        raise Invalid(words, [FieldError("idempotency_key_reused", words)])
    answered = _answered(given)
    return replace(answered, headers=answered.headers | {"Idempotent-Replayed": "true"})


def _answered(given: GivenAnswer) -> Answered:
    headers = {name: str(value) for name, value in given.headers.items()}
    return Answered(given.status, given.body, headers)


def given_under(db: Session, key_id: str, beginning: str) -> Answered | None:
    """Return what a request got whose key begins so: the same form, sent with other content."""
    alike = (
        col(GivenAnswer.key_id) == key_id,
        col(GivenAnswer.idempotency_key).startswith(beginning, autoescape=True),
        col(GivenAnswer.status) != 0,
    )
    given = db.scalars(select(GivenAnswer).where(*alike)).first()
    return None if given is None else _answered(given)


def release(db: Session, key_id: str, idempotency_key: str) -> None:
    """Give a claimed key back: its request was refused, and may be corrected and sent again."""
    db.delete(db.get_one(GivenAnswer, (key_id, idempotency_key)))


def store_answer(db: Session, key_id: str, idempotency_key: str, answered: Answered) -> None:
    """Keep an answer under the key that was claimed for it."""
    given = db.get_one(GivenAnswer, (key_id, idempotency_key))
    given.status, given.body, given.headers = answered.status, answered.body, answered.headers

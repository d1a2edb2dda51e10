"""Browser sessions signed in with a key: looked up by a secret, ended with the key or by hand.

A session lasts thirty days and ends after twelve hours without a page. Its secret has 256 random
bits and is stored as a digest, so that nobody who reads the database can sign in with it.
"""

import hashlib
import secrets
from datetime import datetime, timedelta

from sqlmodel import Session, col, delete, select

from api.errors import NotSignedIn
from api.messages import say
from api.models.access.web_sessions import WebSession
from api.services.access import keys
from api.services.core.scope import Caller

IDLE, LONGEST = timedelta(hours=12), timedelta(days=30)
#: How stale `seen_at` may get before a page writes it again: reading must not mean writing.
SEEN_EVERY = timedelta(minutes=10)


def digest_of(secret: str) -> str:
    """Return the digest under which a session is stored."""
    return hashlib.sha256(secret.encode()).hexdigest()


def begin(db: Session, key_id: str, now: datetime) -> str:
    """Begin a session with a valid key; return its secret, which is not stored."""
    _forget_ended(db, now)
    before = select(WebSession.last_trial_id).where(col(WebSession.key_id) == key_id)
    newest = db.scalars(before.order_by(col(WebSession.seen_at).desc()).limit(1)).first()
    secret = secrets.token_urlsafe(32)
    db.add(
        WebSession(
            digest=digest_of(secret),
            key_id=key_id,
            created_at=now,
            seen_at=now,
            last_trial_id=newest,
        )
    )
    db.flush()
    return secret


def _forget_ended(db: Session, now: datetime) -> None:
    db.execute(
        delete(WebSession).where(
            (col(WebSession.created_at) < now - LONGEST) | (col(WebSession.seen_at) < now - IDLE)
        )
    )


def find(db: Session, secret: str, now: datetime) -> tuple[Caller, WebSession]:
    """Return the caller of a session's secret, with the session."""
    row = db.get(WebSession, digest_of(secret))
    if row is None or row.created_at < now - LONGEST or row.seen_at < now - IDLE:
        raise NotSignedIn(say("refused.no_web_session"))
    return keys.caller_of(db, row.key_id, now), row


def is_stale(row: WebSession, now: datetime) -> bool:
    """Tell whether `seen_at` is old enough to be written again."""
    return row.seen_at < now - SEEN_EVERY


def see(db: Session, digest: str, now: datetime) -> None:
    """Update the time at which a session was last used."""
    row = db.get(WebSession, digest)
    if row is not None:
        row.seen_at = now


def remember(db: Session, digest: str, trial_id: str) -> None:
    """Store the last entered trial, so that the next form begins from it."""
    row = db.get(WebSession, digest)
    if row is not None:
        row.last_trial_id = trial_id


def end(db: Session, digest: str) -> None:
    """End one session."""
    db.execute(delete(WebSession).where(col(WebSession.digest) == digest))


def end_all(db: Session, key_id: str) -> None:
    """End every session of a key."""
    db.execute(delete(WebSession).where(col(WebSession.key_id) == key_id))


def count(db: Session, key_id: str) -> int:
    """Return how many browsers are signed in with a key."""
    return len(db.scalars(select(WebSession.digest).where(col(WebSession.key_id) == key_id)).all())

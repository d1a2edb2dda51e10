"""Sign messages as the Standard Webhooks specification 1.0 says, so that receivers can verify them.

The signature covers the message's id, the time of the attempt and the body, so nobody can send an
old message again as a new one.
"""

import base64
import hashlib
import hmac
import secrets
from datetime import datetime

PREFIX, VERSION = "whsec_", "v1"
SECRET_BYTES = 32


def new_secret() -> str:
    """Return a new secret in the form that libraries for receivers take."""
    return PREFIX + base64.b64encode(secrets.token_bytes(SECRET_BYTES)).decode()


def headers(secret: str, message_id: str, sent_at: datetime, body: bytes) -> dict[str, str]:
    """Return the headers that identify and sign a message."""
    seconds = str(int(sent_at.timestamp()))
    return {
        "Content-Type": "application/json",
        "webhook-id": message_id,
        "webhook-timestamp": seconds,
        "webhook-signature": f"{VERSION},{_signature(secret, message_id, seconds, body)}",
    }


def _signature(secret: str, message_id: str, seconds: str, body: bytes) -> str:
    key = base64.b64decode(secret.removeprefix(PREFIX))
    signed = f"{message_id}.{seconds}.".encode() + body
    return base64.b64encode(hmac.digest(key, signed, hashlib.sha256)).decode()

"""Make ETags of answers, and read the If-Match of changes (RFC 9110, 13)."""

import re
from hashlib import sha256

from fastapi import Request

from api.errors import Malformed, PreconditionMissing
from api.messages import say
from api.models.core.shapes import Answer
from api.services.core.resources import ANY_VERSION

ETAG = re.compile(r'"v(\d{1,9})(\.\d{1,12})?"')


def etag(answer: Answer, body: str) -> str:
    """Return the ETag of a thing's state: its version, and a number from the bytes of its answer.

    If-Match reads the version only. The number changes also with what the service works out, such
    as a trial's figures after a correction of its session, so that no cache shows an old figure.
    """
    return f'"v{answer.version}.{int(sha256(body.encode()).hexdigest()[:9], 16)}"'


def etag_of(body: bytes) -> str:
    """Return the ETag of an answer that is no single thing, by its bytes."""
    return f'"{sha256(body).hexdigest()[:24]}"'


def version_of(request: Request) -> int:
    """Return the version in If-Match."""
    if_match = request.headers.get("if-match")
    if if_match is None:
        raise PreconditionMissing(say("refused.no_if_match"))
    if if_match.strip() == "*":
        return ANY_VERSION
    parts = ETAG.fullmatch(if_match.strip())
    if parts is None:
        raise Malformed(say("refused.odd_if_match"))
    return int(parts[1])

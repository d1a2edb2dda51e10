"""Tags of states: the one of an answer, and the one that a change names (RFC 9110, 13)."""

import re

from fastapi import Request

from api.errors import Malformed, PreconditionMissing
from api.messages import say
from api.models.core.shapes import Answer
from api.services.core.resources import ANY_VERSION

ETAG = re.compile(r'"v(\d{1,9})(\.\d{1,12})?"')


def etag(answer: Answer) -> str:
    """Return the tag of a thing's state; a season's also tells its revision."""
    revision = getattr(answer, "revision", None)
    return f'"v{answer.version}"' if revision is None else f'"v{answer.version}.{revision}"'


def version_of(request: Request) -> int:
    """Return the version that If-Match names."""
    named = request.headers.get("if-match")
    if named is None:
        raise PreconditionMissing(say("refused.no_if_match"))
    if named.strip() == "*":
        return ANY_VERSION
    parts = ETAG.fullmatch(named.strip())
    if parts is None:
        raise Malformed(say("refused.odd_if_match"))
    return int(parts[1])

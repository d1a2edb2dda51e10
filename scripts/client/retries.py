"""How often a request is sent, and how long to wait in between."""

import random
import time
from collections.abc import Mapping
from email.utils import parsedate_to_datetime

IDEMPOTENCY_KEY = "Idempotency-Key"
TRIES = 5
#: A limit of requests per minute is over by then; one per day is not, and is not waited for.
LONGEST_WAIT_S = 65.0
#: The service is busy or starts again, or its proxy waits for it. None: there was no answer.
TEMPORARY = (None, 429, 502, 503, 504)


def tries_of(method: str, headers: Mapping[str, str]) -> int:
    """Return how often a request may be sent: once, unless a second time changes nothing more.

    Without a key, the answer to a PATCH that was stored can be lost; sent again it would be
    refused, because its `If-Match` is out of date.

    >>> tries_of("GET", {}), tries_of("POST", {"Idempotency-Key": "k"}), tries_of("PATCH", {})
    (5, 5, 1)
    """
    return TRIES if method in ("GET", "HEAD") or IDEMPOTENCY_KEY in headers else 1


def wait_s(status: int | None, asked_s: float | None, attempt: int) -> float | None:
    """Return how long to wait after a try that failed, in seconds; None: do not try again.

    It is what the service asks for, or else longer with each attempt. A random part keeps the
    scripts of several coaches from coming back at the same moment.

    >>> wait_s(422, None, attempt=1) is None, wait_s(429, 3600.0, attempt=1) is None
    (True, True)
    >>> 1.0 <= wait_s(503, None, attempt=2) <= 2.0
    True
    """
    if status not in TEMPORARY or (asked_s or 0) > LONGEST_WAIT_S:
        return None
    if asked_s is not None:
        return asked_s + random.uniform(0, 1)
    return min(8.0, 0.5 * 2.0**attempt) * random.uniform(0.5, 1)


def retry_after_s(header: str) -> float | None:
    """Return the seconds of a `Retry-After` header, which may be a date; None if it has none.

    >>> retry_after_s("41"), retry_after_s("soon")
    (41.0, None)
    """
    if header.isdecimal():
        return float(header)
    try:
        moment = parsedate_to_datetime(header)
        return max(0.0, moment.timestamp() - time.time())
    except (ValueError, OverflowError):  # no date, or one in a year that no calendar has
        return None

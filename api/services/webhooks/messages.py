"""The body of a message: what happened, when, and where to read it; no figures and no texts."""

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from api.services.core.moments import in_utc

TEST = "webhook.test"


def body_of(kind: str, happened_at: datetime, data: Mapping[str, Any]) -> bytes:
    """Return the body of a message; it is the same however often it is sent.

    >>> from datetime import UTC
    >>> body_of("import.stored", datetime(2026, 3, 5, 14, 30, tzinfo=UTC), {"import_id": "imp_1"})
    b'{"type":"import.stored","timestamp":"2026-03-05T14:30:00Z","data":{"import_id":"imp_1"}}'
    """
    moment = in_utc(happened_at.replace(microsecond=0))
    message = {"type": kind, "timestamp": moment, "data": dict(data)}
    return json.dumps(message, separators=(",", ":")).encode()

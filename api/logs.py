"""What is logged: one JSON line for each request and each fault, without secrets, bodies or names.

An address is shortened to its network before it is written. An id of a key tells which key asked;
labels, texts and queries are not written.
"""

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Any, TextIO

LOGGER = "gustbook"
FACTS = "facts"


class JsonLines(logging.Formatter):
    """Writes a record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        told: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "message": record.getMessage(),
            **getattr(record, FACTS, {}),
        }
        if record.exc_info:
            told["fault"] = self.formatException(record.exc_info)
        return json.dumps(told, ensure_ascii=True, default=str)


def configure(level: str, stream: TextIO | None = None) -> None:
    """Send what the service says to the standard error output or a stream, as JSON lines."""
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(JsonLines())
    logger = logging.getLogger(LOGGER)
    logger.handlers, logger.propagate = [handler], False
    logger.setLevel(level.upper())


def say(message: str, **facts: Any) -> None:
    """Write a line about something that went as it should."""
    logging.getLogger(LOGGER).info(message, extra={FACTS: facts})


def is_listening() -> bool:
    """Tell whether lines about single requests are wanted."""
    return logging.getLogger(LOGGER).isEnabledFor(logging.INFO)

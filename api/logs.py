"""Write the log: one JSON line for each request and each fault, without secrets, bodies or names.

An address is shortened to its network. The key of a request is logged by its id; labels, texts and
queries are not logged.
"""

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Any, TextIO

LOGGER = "gustbook"
FACTS = "facts"
#: The server, and what `captureWarnings` writes to.
LIBRARIES = ("uvicorn", "py.warnings")


class JsonLines(logging.Formatter):
    """Writes a record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line."""
        record_fields: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "message": record.getMessage(),
            **getattr(record, FACTS, {}),
        }
        if record.exc_info:
            record_fields["fault"] = self.formatException(record.exc_info)
        return json.dumps(record_fields, ensure_ascii=True, default=str)


def configure(level: str, stream: TextIO | None = None) -> None:
    """Send the messages of the service and its libraries to standard error, or to a stream.

    Each line is JSON, also those of the server and Python's warnings.
    """
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(JsonLines())
    logging.captureWarnings(capture=True)
    for name in (LOGGER, *LIBRARIES):
        logger = logging.getLogger(name)
        logger.handlers, logger.propagate = [handler], False
        logger.setLevel(level.upper())


def say(message: str, **facts: Any) -> None:
    """Log a message about a normal event."""
    logging.getLogger(LOGGER).info(message, extra={FACTS: facts})


def is_listening() -> bool:
    """Tell whether lines about single requests are wanted."""
    return logging.getLogger(LOGGER).isEnabledFor(logging.INFO)

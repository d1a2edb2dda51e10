"""Make the service's OpenAPI document once, because it takes seconds."""

from functools import cache
from typing import Any

from api.main import create_app
from api.settings import Settings


@cache
def document() -> dict[str, Any]:
    """Return the document of an application that opens no database."""
    return create_app(Settings()).openapi()

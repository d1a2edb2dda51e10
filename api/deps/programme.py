"""Get the database, the rate limits and the concurrency limits of the application."""

from fastapi import Request

from api.concurrency import KeyLimits
from api.db import Database
from api.services.access.rate_limits import Limits


def database(request: Request) -> Database:
    """Return the programme's database."""
    opened: Database = request.app.state.database
    return opened


def limits(request: Request) -> Limits:
    """Return the rate limits of the programme."""
    rate_limits: Limits = request.app.state.limits
    return rate_limits


def turns(request: Request) -> KeyLimits:
    """Return the concurrency limits of the programme."""
    key_limits: KeyLimits = request.app.state.turns
    return key_limits

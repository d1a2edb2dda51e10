"""What the application holds for every request: its database, limits and turns."""

from fastapi import Request

from api.db import Database
from api.services.access.limits import Limits
from api.turns import KeyLimits


def database(request: Request) -> Database:
    """Return the programme's database."""
    opened: Database = request.app.state.database
    return opened


def limits(request: Request) -> Limits:
    """Return what the programme allows."""
    found: Limits = request.app.state.limits
    return found


def turns(request: Request) -> KeyLimits:
    """Return the turns of this programme."""
    found: KeyLimits = request.app.state.turns
    return found

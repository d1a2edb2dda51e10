"""Let transactions on a database server take turns by name, until each ends.

An embedded database has one writer at a time anyway.
"""

import hashlib
from collections.abc import Iterable

from sqlalchemy import text
from sqlmodel import Session

_EACH = "SELECT {function}(number) FROM unnest(CAST(:numbers AS bigint[])) AS number"
_ALONE = text(_EACH.format(function="pg_advisory_xact_lock"))
_SHARED = text(_EACH.format(function="pg_advisory_xact_lock_shared"))
_AT_ONCE = text("SELECT pg_try_advisory_xact_lock(:number)")


def take(db: Session, names: Iterable[str], *, shared: bool = False) -> None:
    """Wait for the turns of some names, in the same order everywhere.

    A turn that is shared waits only for those who have it alone, and they for it.
    """
    if is_server(db):
        numbers = sorted({_number(name) for name in names})
        db.execute(_SHARED if shared else _ALONE, {"numbers": numbers})


def try_alone(db: Session, name: str) -> bool:
    """Take the turn of a name alone if nobody else has it; tell whether that succeeded."""
    return not is_server(db) or bool(db.scalar(_AT_ONCE, {"number": _number(name)}))


def is_server(db: Session) -> bool:
    """Tell whether several processes may write to a session's database."""
    return db.get_bind().dialect.name == "postgresql"


def _number(name: str) -> int:
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:8], signed=True)

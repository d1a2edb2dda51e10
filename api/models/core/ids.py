"""Public ids: a prefix for the kind, and 26 characters that contain the time.

The characters are Crockford's base 32 of a version 7 UUID (RFC 9562), so ids
sort by age, a double click selects the complete id, and spreadsheets read it as text.
"""

import re
import secrets
import threading
import time
from typing import Annotated, TypeAlias

from pydantic import Field

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
LENGTH = 26
PAIRS = [one + other for one in ALPHABET for other in ALPHABET]

_turn = threading.Lock()
_latest = [0]


def uuid7() -> int:
    """Return a version 7 UUID as an integer, larger than any that this process gave before."""
    milliseconds = time.time_ns() // 1_000_000
    random = secrets.randbits(74)
    value = (
        milliseconds << 80 | 0x7 << 76 | (random >> 62) << 64 | 0b10 << 62 | random & (1 << 62) - 1
    )
    with _turn:
        _latest[0] = max(value, _latest[0] + 1)
        return _latest[0]


def new_id(prefix: str) -> str:
    """Return a new public id.

    >>> earlier, later = new_id("trl"), new_id("trl")
    >>> earlier < later, is_id("trl", earlier), is_id("team", earlier)
    (True, True, False)
    """
    value = uuid7()
    return f"{prefix}_" + "".join(PAIRS[value >> shift & 1023] for shift in range(120, -1, -10))


def is_id(prefix: str, text: str) -> bool:
    """Tell whether a text is a well-formed id of that kind."""
    return re.fullmatch(pattern(prefix), text) is not None


def pattern(prefix: str) -> str:
    """Return the regular expression of a kind's ids."""
    return f"^{prefix}_[{ALPHABET}]{{{LENGTH}}}$"


OrganisationId: TypeAlias = Annotated[str, Field(pattern=pattern("org"))]
EventId: TypeAlias = Annotated[str, Field(pattern=pattern("evt"))]
SeasonId: TypeAlias = Annotated[str, Field(pattern=pattern("sea"))]
TeamId: TypeAlias = Annotated[str, Field(pattern=pattern("team"))]
EquipmentId: TypeAlias = Annotated[str, Field(pattern=pattern("eqp"))]
TurbineId: TypeAlias = Annotated[str, Field(pattern=pattern("turb"))]
BuildId: TypeAlias = Annotated[str, Field(pattern=pattern("bld"))]
BenchId: TypeAlias = Annotated[str, Field(pattern=pattern("bch"))]
TrialId: TypeAlias = Annotated[str, Field(pattern=pattern("trl"))]
SessionId: TypeAlias = Annotated[str, Field(pattern=pattern("ses"))]
FlagId: TypeAlias = Annotated[str, Field(pattern=pattern("flg"))]

"""Dependencies of routes: the caller, and objects to read or to write once.

A read or a write opens its database session in the handler's own thread and closes it before the
answer is sent. A write commits before the answer is sent, so a failed commit is an error for the
caller and not a silent loss.
"""

from api.deps.programme import database, limits, turns
from api.deps.reading import Read, ReadLead, as_file
from api.deps.signing_in import look_at, sign_in, sign_in_lead, sign_in_writer
from api.deps.writing import (
    Change,
    ChangeLead,
    Write,
    WriteLead,
    Writing,
)

__all__ = [
    "Change",
    "ChangeLead",
    "Read",
    "ReadLead",
    "Write",
    "WriteLead",
    "Writing",
    "as_file",
    "database",
    "limits",
    "look_at",
    "sign_in",
    "sign_in_lead",
    "sign_in_writer",
    "turns",
]

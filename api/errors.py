"""Refusals the service answers with, and the one place where they become HTTP.

* ApiError
  - Malformed            400
  - NotSignedIn          401
  - NotPermitted         403
  - NotFound             404
  - NotAcceptable        406
  - TooSlow              408
  - Conflict             409
  - Stale                412
  - TooLarge             413
  - UnsupportedMedia     415
  - Invalid              422
  - PreconditionMissing  428
  - TooMany              429
  - Busy                 503

Every answer of status 400 or more is RFC 9457 problem details, also those that
the framework gives. A fault of ours answers 500 and tells nothing of its cause.
"""

import json
import logging
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, ClassVar

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from sqlalchemy import Index, UniqueConstraint
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError, StatementError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from sqlmodel import SQLModel
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect
from starlette.responses import Response
from starlette.types import Scope

MEDIA_TYPE = "application/problem+json"
ERRORS_SHOWN = 1000

logger = logging.getLogger("gustbook")


@dataclass(frozen=True, slots=True)
class FieldError:
    """One thing that is wrong, where it stands, and what would do instead.

    A place in JSON is a `pointer` (RFC 6901); a place in a file is `row` (the header is 1) and
    `column`.
    """

    code: str
    detail: str
    hint: str | None = None
    pointer: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None

    def shown(self) -> dict[str, Any]:
        """Return the members that say something."""
        named = ((each.name, getattr(self, each.name)) for each in fields(self))
        return {name: value for name, value in named if value is not None}


class ApiError(Exception):
    """A refusal, written for the person who must act on it."""

    status: ClassVar[int]
    slug: ClassVar[str]
    title: ClassVar[str]

    def __init__(
        self,
        detail: str,
        errors: Sequence[FieldError] = (),
        headers: Mapping[str, str] | None = None,
        error_count: int | None = None,
    ) -> None:
        super().__init__(detail)
        self.errors = list(errors)
        #: How many faults there are; `errors` may list only the first of them.
        self.error_count = len(self.errors) if error_count is None else error_count
        self.headers = dict(headers or {})


class Malformed(ApiError):
    """The request cannot be read at all."""

    status, slug, title = 400, "malformed", "Request cannot be read"


class NotSignedIn(ApiError):
    """No key, or one that is wrong, expired or revoked."""

    status, slug, title = 401, "not-signed-in", "A valid access key is needed"

    def __init__(self, detail: str) -> None:
        super().__init__(detail, headers={"WWW-Authenticate": 'Bearer realm="gustbook"'})


class NotPermitted(ApiError):
    """The key's role does not reach this far."""

    status, slug, title = 403, "not-permitted", "This key may not do that"


class NotFound(ApiError):
    """Absent, or not the caller's to see: both answer alike."""

    status, slug, title = 404, "not-found", "Not found"


class NotAcceptable(ApiError):
    """None of the formats asked for can be given."""

    status, slug, title = 406, "not-acceptable", "No such format"


class TooSlow(ApiError):
    """The body of a request did not arrive in time."""

    status, slug, title = 408, "too-slow", "The request took too long to arrive"


class Conflict(ApiError):
    """What is stored already says otherwise."""

    status, slug, title = 409, "conflict", "In conflict with what is stored"


class Stale(ApiError):
    """The thing was changed since the caller read it."""

    status, slug, title = 412, "stale", "Changed since you read it"


class TooLarge(ApiError):
    """More bytes or rows than are taken at once."""

    status, slug, title = 413, "too-large", "Too large"


class UnsupportedMedia(ApiError):
    """A kind of content that this address does not take."""

    status, slug, title = 415, "unsupported-media", "Kind of content not taken here"


class Invalid(ApiError):
    """Readable, but not acceptable: each fault is named."""

    status, slug, title = 422, "invalid", "Some values cannot be accepted"


class PreconditionMissing(ApiError):
    """A change that does not say which version it is based on."""

    status, slug, title = 428, "precondition-missing", "If-Match is needed"


class TooMany(ApiError):
    """More requests, or more wrong keys, than are taken in this time."""

    status, slug, title = 429, "too-many", "Too many requests"

    def __init__(self, detail: str, wait_s: int, headers: Mapping[str, str] | None = None) -> None:
        super().__init__(detail, headers={"Retry-After": str(wait_s), **(headers or {})})


class Busy(ApiError):
    """The database cannot take this now; the same request may be sent again."""

    status, slug, title = 503, "busy", "Try again in a moment"

    def __init__(self, detail: str) -> None:
        super().__init__(detail, headers={"Retry-After": "2"})


class Unexpected(ApiError):
    """A fault of the service; its cause is in the log only."""

    status, slug, title = 500, "unexpected", "Something went wrong here"


class FromFramework(ApiError):
    """A refusal of the framework, such as an unknown path or method."""

    title = "Refused"

    def __init__(self, error: HTTPException) -> None:
        super().__init__(str(error.detail), headers=error.headers)
        self.http_status = error.status_code


FRAMEWORK_WORDS = {
    404: ("not-found", "Not found", "there is nothing at this address"),
    405: ("method-not-allowed", "Method not allowed", "this address does not take that method"),
    413: ("too-large", "Too large", "the request is larger than is taken at once"),
}

Explain = Callable[[RequestValidationError], ApiError]
Answering = Callable[[Scope, ApiError], Response]


def from_foreign(error: Exception, explain: Explain) -> ApiError:
    """Return the refusal that an error of the framework or the database means."""
    match error:
        case ApiError():
            return error
        case RequestValidationError():
            return explain(error)
        case ClientDisconnect() | HTTPException(status_code=400):
            return Malformed(str(getattr(error, "detail", "the request broke off")))
        case HTTPException():
            return FromFramework(error)
        case IntegrityError():
            return Conflict(_clash(error.orig))
        case OperationalError() | PoolTimeout():
            logger.warning("database busy or unreachable: %s", type(error).__name__)
            return Busy(MAYBE_STORED if _broke_at_commit(error) else NOT_STORED)
        case DBAPIError() | StatementError():
            logger.exception("refused by the database", exc_info=error)
            return Invalid("a value in this request cannot be stored")
    logger.exception("unexpected error", exc_info=error)
    return Unexpected("the fault was noted; quote the request id when you report it")


NOT_STORED = "the database is busy or full; nothing of this request was stored"
MAYBE_STORED = (
    "the database's connection broke at the last moment, and it is not known whether this request "
    "was stored: send the same request again, under its Idempotency-Key or client_ref"
)


def _broke_at_commit(error: Exception) -> bool:
    """Tell whether an error came where all statements were done: only a commit has none.

    A commit that finds the disk full or the file locked was rolled back.
    """
    if not isinstance(error, OperationalError) or error.statement is not None:
        return False
    return not any(word in str(error.orig) for word in ("full", "locked"))


#: How an embedded database names what a unique constraint holds.
_SQLITE_UNIQUE = re.compile(r"UNIQUE constraint failed: (.+)")


def _clash(error: BaseException | None) -> str:
    """Return in words what is stored already, as far as the database tells.

    A server names the constraint alone where row-level security hides rows.
    """
    found = _SQLITE_UNIQUE.search(str(error))
    names = [name.strip().rpartition(".")[2] for name in found[1].split(",")] if found else []
    constraint = getattr(getattr(error, "diag", None), "constraint_name", None)
    fields = names or _unique_columns(constraint)
    if not fields:
        return "this points at something that is not there, or is still pointed at"
    return f"something with this {' and '.join(fields)} is stored already"


def _unique_columns(constraint: str | None) -> list[str]:
    """Return the columns that a constraint or an index of this name keeps apart."""
    for table in SQLModel.metadata.tables.values():
        for each in (*table.constraints, *table.indexes):
            if isinstance(each, UniqueConstraint | Index) and each.name == constraint:
                return [column.name for column in each.columns]
    return []


def problem(refusal: ApiError, instance: str) -> Response:
    """Return a refusal as RFC 9457 problem details."""
    status, slug, title, detail = words_of(refusal)
    body: dict[str, Any] = {
        "type": f"/problems/{slug}",
        "title": title,
        "status": status,
        "detail": detail,
        "instance": instance,
    }
    if refusal.errors:
        body["errors"] = [error.shown() for error in refusal.errors[:ERRORS_SHOWN]]
        body["error_count"] = refusal.error_count
    # Plain ASCII: an echoed lone surrogate must not break the answer.
    return Response(
        json.dumps(body), status_code=status, headers=refusal.headers, media_type=MEDIA_TYPE
    )


def words_of(refusal: ApiError) -> tuple[int, str, str, str]:
    """Return a refusal's status, its slug, its title and what exactly is wrong."""
    if not isinstance(refusal, FromFramework):
        return refusal.status, refusal.slug, refusal.title, str(refusal)
    default = (f"http-{refusal.http_status}", refusal.title, str(refusal))
    slug, title, detail = FRAMEWORK_WORDS.get(refusal.http_status, default)
    return refusal.http_status, slug, title, detail


def add_error_handlers(app: FastAPI, explain: Explain, answer: Answering) -> None:
    """Send every refusal, ours or the framework's, through `answer`.

    The database's errors and our own faults pass out of the application and meet `answer` in the
    frame around it.
    """

    def refuse(request: Request, error: Exception) -> Response:
        return answer(request.scope, from_foreign(error, explain))

    for kind in (ApiError, RequestValidationError, HTTPException):
        app.add_exception_handler(kind, refuse)

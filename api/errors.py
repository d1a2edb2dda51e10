"""The refusals of the service, and their conversion to HTTP.

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

Every answer with a status of 400 or more is RFC 9457 problem details, also those
of the framework. An error of the service is answered with 500, without its cause.
"""

import json
import logging
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import reduce
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

from api.messages import say

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
        """Return the members that are not None."""
        named = ((each.name, getattr(self, each.name)) for each in fields(self))
        return {name: value for name, value in named if value is not None}


class ApiError(Exception):
    """A refusal, written for the person who must act on it."""

    status: ClassVar[int]
    #: Also the key of its title in the catalogue.
    slug: ClassVar[str]

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

    status, slug = 400, "malformed"


class NotSignedIn(ApiError):
    """No key, or one that is wrong, expired or revoked."""

    status, slug = 401, "not-signed-in"

    def __init__(self, detail: str) -> None:
        super().__init__(detail, headers={"WWW-Authenticate": 'Bearer realm="gustbook"'})


class NotPermitted(ApiError):
    """The key's role does not reach this far."""

    status, slug = 403, "not-permitted"


class NotFound(ApiError):
    """Absent, or not the caller's to see: both answer alike."""

    status, slug = 404, "not-found"


class NotAcceptable(ApiError):
    """None of the formats asked for can be given."""

    status, slug = 406, "not-acceptable"


class TooSlow(ApiError):
    """The body of a request did not arrive in time."""

    status, slug = 408, "too-slow"


class Conflict(ApiError):
    """What is stored already says otherwise."""

    status, slug = 409, "conflict"


class Stale(ApiError):
    """The thing was changed since the caller read it."""

    status, slug = 412, "stale"


class TooLarge(ApiError):
    """More bytes or rows than are taken at once."""

    status, slug = 413, "too-large"


class UnsupportedMedia(ApiError):
    """A kind of content that this address does not take."""

    status, slug = 415, "unsupported-media"


class Invalid(ApiError):
    """Readable, but not acceptable: each fault is named."""

    status, slug = 422, "invalid"


class PreconditionMissing(ApiError):
    """A change that does not say which version it is based on."""

    status, slug = 428, "precondition-missing"


class TooMany(ApiError):
    """More requests, or more wrong keys, than are taken in this time."""

    status, slug = 429, "too-many"

    def __init__(self, detail: str, wait_s: int, headers: Mapping[str, str] | None = None) -> None:
        super().__init__(detail, headers={"Retry-After": str(wait_s), **(headers or {})})


class Busy(ApiError):
    """The database cannot take this now; the same request may be sent again."""

    status, slug = 503, "busy"

    def __init__(self, detail: str) -> None:
        super().__init__(detail, headers={"Retry-After": "2"})


class Unexpected(ApiError):
    """A fault of the service; its cause is in the log only."""

    status, slug = 500, "unexpected"


class FromFramework(ApiError):
    """A refusal of the framework, such as an unknown path or method."""

    def __init__(self, error: HTTPException) -> None:
        super().__init__(str(error.detail), headers=error.headers)
        self.http_status = error.status_code


#: The slugs and message keys for refusals of the framework.
FRAMEWORK_WORDS = {
    404: ("not-found", "refused.no_address"),
    405: ("method-not-allowed", "refused.no_method"),
    413: ("too-large", "refused.request_too_large"),
}

Explain = Callable[[RequestValidationError], ApiError]
Answering = Callable[[Scope, ApiError], Response]


def from_foreign(error: Exception, explain: Explain) -> ApiError:
    """Return the refusal for an error of the framework or the database."""
    match error:
        case ApiError():
            return error
        case RequestValidationError():
            return explain(error)
        case ClientDisconnect() | HTTPException(status_code=400):
            return Malformed(str(getattr(error, "detail", say("refused.broke_off"))))
        case HTTPException():
            return FromFramework(error)
        case IntegrityError():
            return Conflict(_clash(error.orig))
        case OperationalError() | PoolTimeout():
            logger.warning("database busy or unreachable: %s", type(error).__name__)
            at_commit = _broke_at_commit(error)
            return Busy(say("refused.maybe_stored") if at_commit else say("refused.not_stored"))
        case DBAPIError() | StatementError():
            logger.exception("refused by the database", exc_info=error)
            return Invalid(say("refused.unstorable"))
    logger.exception("unexpected error", exc_info=error)
    return Unexpected(say("refused.noted"))


def _broke_at_commit(error: Exception) -> bool:
    """Tell whether an error came from a commit, which is the only error without a statement.

    A commit that finds the disk full or the file locked was rolled back.
    """
    if not isinstance(error, OperationalError) or error.statement is not None:
        return False
    return not any(word in str(error.orig) for word in ("full", "locked"))


#: How SQLite names the columns of a violated unique constraint.
_SQLITE_UNIQUE = re.compile(r"UNIQUE constraint failed: (.+)")


def _clash(error: BaseException | None) -> str:
    """Return a sentence on the violated constraint, as far as the database names it.

    A server names only the constraint if row-level security hides rows.
    """
    match = _SQLITE_UNIQUE.search(str(error))
    names = [name.strip().rpartition(".")[2] for name in match[1].split(",")] if match else []
    constraint = getattr(getattr(error, "diag", None), "constraint_name", None)
    fields = names or _unique_columns(constraint)
    if not fields:
        return say("refused.points_nowhere")
    together = reduce(lambda one, other: say("refused.both", one=one, other=other), fields)
    return say("refused.stored_already", fields=together)


def _unique_columns(constraint: str | None) -> list[str]:
    """Return the columns of the unique constraint or index with this name."""
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
    """Return a refusal's status, slug, title and detail."""
    if not isinstance(refusal, FromFramework):
        return refusal.status, refusal.slug, title_of(refusal.slug), str(refusal)
    status = refusal.http_status
    if status not in FRAMEWORK_WORDS:
        return status, f"http-{status}", say("problem.refused"), str(refusal)
    slug, key = FRAMEWORK_WORDS[status]
    return status, slug, title_of(slug), say(key)


def refusal_kinds() -> dict[str, int]:
    """Return the status of each kind of refusal, by its slug.

    >>> refusal_kinds()["not-found"], refusal_kinds()["method-not-allowed"]
    (404, 405)
    """
    own = {kind.slug: kind.status for kind in ApiError.__subclasses__() if "slug" in vars(kind)}
    return own | {slug: status for status, (slug, _) in FRAMEWORK_WORDS.items()}


def title_of(slug: str) -> str:
    """Return the title of a kind of refusal.

    >>> title_of("not-found")
    'Not found'
    """
    return say(f"problem.{slug.replace('-', '_')}")


def add_error_handlers(app: FastAPI, explain: Explain, answer: Answering) -> None:
    """Send every refusal, ours or the framework's, through `answer`.

    Errors of the database and of the service leave the application, and the frame around it
    passes them to `answer`.
    """

    def refuse(request: Request, error: Exception) -> Response:
        return answer(request.scope, from_foreign(error, explain))

    for kind in (ApiError, RequestValidationError, HTTPException):
        app.add_exception_handler(kind, refuse)

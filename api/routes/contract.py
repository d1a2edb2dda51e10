"""Code that all API routes share: strict JSON, declared parameters, documented refusals."""

from collections.abc import Callable, Coroutine
from typing import Any

from fastapi import Request
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute
from pydantic import BaseModel, Field
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import Response

from api.bodies import received
from api.deps import sign_in
from api.errors import (
    ApiError,
    Busy,
    Conflict,
    FieldError,
    Invalid,
    Malformed,
    NotFound,
    NotPermitted,
    NotSignedIn,
    PreconditionMissing,
    Stale,
    TooLarge,
    TooMany,
    TooSlow,
    UnsupportedMedia,
)
from api.messages import say
from api.models.core.validation import nearest
from api.strict_json import NotOurJson, read_json

READING = ("GET", "HEAD")
#: Where an answer in the OpenAPI document names its kind of refusal, until it is completed.
REFUSAL = "x-refusal"
#: A body up to this size is read within a millisecond.
READ_AT_ONCE_BYTES = 16_000


class Problem(BaseModel):
    """RFC 9457 problem details: how every refusal is answered."""

    type: str = Field(examples=["/problems/not-found"])
    title: str = Field(examples=["Not found"])
    status: int = Field(examples=[404])
    detail: str = Field(examples=["no team team_01J… among yours"])
    instance: str = Field(description="The request's id, as in X-Request-Id.")
    errors: list[FieldError] = []
    error_count: int | None = None


def refusals(*kinds: type[ApiError]) -> dict[int | str, dict[str, Any]]:
    """Return the OpenAPI answers of some refusals; the document adds their titles."""
    return {
        kind.status: {
            "description": kind.__doc__,
            REFUSAL: kind.slug,
        }
        for kind in kinds
    }


#: A read that names nothing that is stored.
ASK = refusals(NotSignedIn, Invalid, TooMany, Busy)
READ = ASK | refusals(NotFound)
#: For reads that only a lead may do, in addition.
LEADS_ONLY = refusals(NotPermitted)
#: What has an ETag: a list, and one thing or a list that belongs to one.
_UNCHANGED = {304: {"description": "The caller has this state already."}}
LIST, SHOW = ASK | _UNCHANGED, READ | _UNCHANGED
#: A write that names nothing that is stored already.
STORE = refusals(
    Malformed,
    NotSignedIn,
    NotPermitted,
    TooSlow,
    Conflict,
    TooLarge,
    UnsupportedMedia,
    Invalid,
    TooMany,
    Busy,
)
WRITE = STORE | refusals(NotFound)
CHANGE = WRITE | refusals(Stale, PreconditionMissing)


class StrictRequest(Request):
    """A request with strict JSON: UTF-8, no NaN, and no repeated names."""

    async def json(self) -> Any:
        """Return the body, or refuse it as unreadable."""
        if not hasattr(self, "_json"):
            self._json = await _read(await self.body())
        return self._json


async def _read(body: bytes) -> Any:
    """Return the value of a body; parse a large one in a worker thread."""
    try:
        if len(body) <= READ_AT_ONCE_BYTES:
            return read_json(body)
        return await run_in_threadpool(read_json, body)
    except NotOurJson as error:
        raise HTTPException(400, say("refused.unreadable_body", why=str(error))) from error


class StrictRoute(APIRoute):
    """A route that reads strict JSON and refuses unknown query parameters."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """Return the handler behind the two checks."""
        handle = super().get_route_handler()
        declared = _parameters(self.dependant)

        async def strict(request: Request) -> Response:
            unknown = [name for name in request.query_params if name not in declared]
            if unknown:
                raise _unknown_parameters(unknown, declared)
            strictly = StrictRequest(request.scope, request.receive)
            if request.method in READING:
                return await handle(strictly)
            # A request without a valid key costs only the lookup of the key.
            caller = await sign_in(request)
            async with received(strictly, caller.key_id):
                return await handle(strictly)

        return strict


def _parameters(dependant: Dependant) -> set[str]:
    """Return the names of the query parameters that a route and its dependencies declare."""
    names: set[str] = set().union(*(_parameters(inner) for inner in dependant.dependencies))
    for parameter in dependant.query_params:
        model = parameter.field_info.annotation
        if isinstance(model, type) and issubclass(model, BaseModel):
            names |= set(model.model_fields)
        else:
            names.add(parameter.alias)
    return names


def _unknown_parameters(unknown: list[str], declared: set[str]) -> Invalid:
    errors = [
        FieldError(
            "unknown_parameter", say("fault.unknown_parameter"), nearest(name, declared), f"/{name}"
        )
        for name in unknown
    ]
    return Invalid(say("refused.unknown_parameters", names=", ".join(unknown)[:200]), errors)


def private_json(answer: BaseModel) -> Response:
    """Return an answer that no cache may give to another key; it was checked when it was made."""
    headers = {"Vary": "Authorization", "Cache-Control": "private, no-cache"}
    return Response(answer.model_dump_json(), headers=headers, media_type="application/json")

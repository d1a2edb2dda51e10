"""Check that every answer of the service is one that its API document names."""

import json
from collections import Counter
from functools import cache
from typing import Any

import jsonschema
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tests.support.document import document

#: What the document leaves to its last kind of refusal: errors, and methods that are not there.
UNNAMED = (405, 500)
#: Bodies of one kind of answer that are held against its shape, because that takes time.
MOST_BODIES = 3

#: What was not as documented, until a test asks.
faults: list[str] = []
_seen: Counter[tuple[str, int]] = Counter()


class DocumentedAnswers:
    """Pure ASGI around the application of tests: note the answers that are not documented."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        messages: list[Message] = []

        async def noted(message: Message) -> None:
            messages.append(message)
            await send(message)

        await self.app(scope, receive, noted)
        operation = _operations().get(_name(scope))
        if operation and messages and scope["method"] != "HEAD":
            has_all = b"fields=" not in scope["query_string"]
            found = _faults(operation, messages, has_all=has_all)
            faults.extend(f"{_name(scope)}: {fault}" for fault in found)


def _name(scope: Scope) -> str:
    """Return the name of the operation that answered, or an empty text for a page."""
    is_page = not scope["path"].startswith(("/v1/", "/healthz", "/readyz"))
    return "" if is_page else str(getattr(scope.get("route"), "name", ""))


@cache
def _operations() -> dict[str, Any]:
    paths = document()["paths"].values()
    return {each["operationId"]: each for item in paths for each in item.values()}


def _faults(operation: Any, messages: list[Message], *, has_all: bool = True) -> list[str]:
    """Return what an answer has that its operation does not document.

    An answer that was narrowed to some fields is without values that its shape requires.
    """
    status = messages[0]["status"]
    headers = {name.decode(): value.decode() for name, value in messages[0]["headers"]}
    named = "default" if status in UNNAMED else str(status)
    if named not in operation["responses"]:
        return [f"answers {status}"]
    response = _resolved(operation["responses"][named])
    missing = _promised(response, named) - headers.keys()
    found = [f"{status} is without {name}" for name in sorted(missing)]
    media = headers.get("content-type", "")
    if media and media not in response.get("content", {}):
        return [*found, f"answers {status} as {media}"]
    if has_all and media.endswith("json") and _is_rare(operation["operationId"], status):
        body = b"".join(each.get("body", b"") for each in messages[1:])
        found += _shape_faults(response["content"][media]["schema"], body, status)
    return found


def _resolved(response: Any) -> Any:
    name = response.get("$ref", "").rpartition("/")[2]
    return document()["components"]["responses"][name] if name else response


def _is_rare(name: str, status: int) -> bool:
    """Tell whether only a few bodies of a kind of answer were held against its shape so far."""
    _seen[name, status] += 1
    return _seen[name, status] <= MOST_BODIES


def _promised(response: Any, named: str) -> set[str]:
    """Return the headers that each such answer has.

    A last page has no link, a first answer is no repeated one, and what is refused before its key
    is known has no limit.
    """
    absent = {"link", "idempotent-replayed"} if named < "400" else {"ratelimit"}
    if named == "default":
        absent.add("retry-after")
    return {name.lower() for name in response["headers"]} - absent


def _shape_faults(schema: Any, body: bytes, status: int) -> list[str]:
    complete = schema | {"components": document()["components"]}
    validator = jsonschema.Draft202012Validator(complete)
    return [
        f"{status} has at {list(each.absolute_path)}: {each.message[:200]}"
        for each in validator.iter_errors(json.loads(body))
    ]

"""Complete the OpenAPI document of FastAPI with our refusals, the key and examples."""

from collections.abc import Iterator
from typing import Any

from fastapi import FastAPI
from fastapi.openapi.utils import get_openapi

from api.errors import title_of
from api.routes.contract import REFUSAL, Problem
from api.routes.examples import EXAMPLES

DESCRIPTION = """\
A season of model wind turbines: teams of several schools build, test, check and compare fairly.

Send `Authorization: Bearer <key>`. Numbers carry their unit in the field's name; most may come in
another unit under another suffix (`voltage_mv` for `voltage_v`). A refusal is
`application/problem+json` and names every fault. A change needs `If-Match`; a POST may carry an
`Idempotency-Key`, under which the same request is done once.
"""
OPEN_PATHS = ("/healthz", "/readyz", "/v1/meta")
#: The headers of answers, and what each is for.
HEADERS = {
    "ETag": "The state of the thing, for If-Match of a change and If-None-Match of a read.",
    "Location": "The address of what was stored.",
    "Link": "The address of the next page, with rel=next.",
    "Retry-After": "Seconds to wait before the request is sent again.",
    "X-Request-Id": "The id of the request, to quote when something went wrong.",
    "RateLimit": "Requests that are left in this minute, and seconds until there are more.",
}
METHODS = ("get", "post", "patch", "put", "delete")


def document(app: FastAPI) -> dict[str, Any]:
    """Return the document; it is made once."""
    if app.openapi_schema is None:
        generated = get_openapi(
            title=app.title,
            version=app.version,
            summary="Register, test, check and compare model wind turbines through a season.",
            description=DESCRIPTION,
            routes=app.routes,
            servers=[
                {
                    "url": app.state.settings.root_path or "/",
                    "description": "The service that gives this document.",
                }
            ],
        )
        app.openapi_schema = _complete(generated)
    return app.openapi_schema


def _complete(generated: dict[str, Any]) -> dict[str, Any]:
    components = generated["components"]
    for name in ("HTTPValidationError", "ValidationError"):
        components["schemas"].pop(name, None)
    problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    components["schemas"] |= problem.pop("$defs") | {"Problem": problem}
    components["securitySchemes"] = {"key": {"type": "http", "scheme": "bearer"}}
    components["headers"] = {
        name: {"description": words, "schema": {"type": "string"}}
        for name, words in HEADERS.items()
    }
    for path, item in generated["paths"].items():
        for method in METHODS:
            if method in item:
                _complete_operation(path, item[method])
    return generated


def _complete_operation(path: str, operation: dict[str, Any]) -> None:
    """Give an operation its key, its problem answer and its examples."""
    if path not in OPEN_PATHS:
        operation["security"] = [{"key": []}]
    responses = operation["responses"]
    responses["default"] = {
        "description": "Any other refusal.",
        "content": {
            "application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}
        },
    }
    # FastAPI adds its own 422 to operations with parameters; ours is a problem like all others.
    if "application/json" in responses.get("422", {}).get("content", {}):
        responses["422"] = responses["default"] | {"description": "Some values are not accepted."}
    for status, response in responses.items():
        if REFUSAL in response:
            response["description"] = (
                f"{title_of(response.pop(REFUSAL))}. {response['description']}"
            )
        if status.startswith("2"):
            _show_example(response.get("content", {}))
        response["headers"] = {
            name: {"$ref": f"#/components/headers/{name}"} for name in _headers(status, response)
        }
    _show_example(operation.get("requestBody", {}).get("content", {}))


def _headers(status: str, response: dict[str, Any]) -> Iterator[str]:
    """Yield the headers that an answer may have."""
    yield from ("X-Request-Id", "RateLimit")
    content = response.get("content", {}).get("application/json", {})
    name = content.get("schema", {}).get("$ref", "").rsplit("/", 1)[-1]
    if status == "201" and not name.startswith("Batch_"):
        yield "Location"
    if name.startswith("Page_"):
        yield "Link"
    elif status in ("200", "201") and name and not name.startswith("Batch_"):
        yield "ETag"
    if status in ("429", "503", "default"):
        yield "Retry-After"


def _show_example(content: dict[str, Any]) -> None:
    """Add the example of a shape to its content."""
    media = content.get("application/json", {})
    name = media.get("schema", {}).get("$ref", "").rsplit("/", 1)[-1]
    if name in EXAMPLES:
        media["example"] = EXAMPLES[name]
    elif name.startswith("Page_"):
        media["example"] = {
            "items": [EXAMPLES[name.removeprefix("Page_").strip("_")]],
            "next": None,
        }
    elif name.startswith("Batch_"):
        media["example"] = {"items": [EXAMPLES[name.removeprefix("Batch_").strip("_")]]}

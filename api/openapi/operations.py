"""Complete the operations of the document: key, parameters, refusals, headers and examples."""

from collections.abc import Iterator

from api.errors import MEDIA_TYPE, title_of
from api.openapi.parts import Part, name_in
from api.openapi.shapes import item_of_batch, item_of_page, without_null
from api.routes.contract import REFUSAL, Problem
from api.routes.examples import EXAMPLES

OPEN_PATHS = ("/healthz", "/readyz", "/v1/meta")
PROBLEM = {"schema": {"$ref": f"#/components/schemas/{Problem.__name__}"}}
OTHER = {"description": "Any other refusal.", REFUSAL: "refused"}
#: The values by which a stored thing is known.
THING = {"id", "version"}
IF_NONE_MATCH = {
    "name": "If-None-Match",
    "in": "header",
    "required": False,
    "description": "ETag of the state you have; if it is still the same, the answer is 304.",
    "schema": {"type": "string"},
}


def complete(path: str, operation: Part, components: Part) -> None:
    """Complete one operation; its refusals are added to those that all operations share."""
    schemas, refusals = components["schemas"], components["responses"]
    needs_key = path not in OPEN_PATHS
    operation["security"] = [{"key": []}] if needs_key else []
    operation["responses"] = _responses(operation["responses"], refusals)
    _complete_parameters(operation)
    for status, response in operation["responses"].items():
        if "$ref" not in response:
            show_example(response.get("content", {}))
            names = _headers(status, response, operation, schemas, needs_key=needs_key)
            _name_headers(response, names)
    show_example(operation.get("requestBody", {}).get("content", {}))


def _responses(responses: Part, refusals: Part) -> Part:
    """Return answers in the order of their statuses; refusals point at the shared ones."""
    # FastAPI adds its own 422 to operations with parameters; ours is a problem like all others.
    if "application/json" in responses.get("422", {}).get("content", {}):
        responses["422"] = {"description": "Some values are not accepted.", REFUSAL: "invalid"}
    shared = {
        status: _shared(status, response, refusals) if REFUSAL in response else response
        for status, response in sorted(responses.items())
    }
    return shared | {"default": _shared("default", OTHER, refusals)}


def _shared(status: str, response: Part, refusals: Part) -> Part:
    """Return a reference to a refusal among those that operations share; add it if it is new."""
    slug = response[REFUSAL]
    name = slug.title().replace("-", "")
    if name not in refusals:
        refusals[name] = _refusal(status, slug, response["description"])
        _name_headers(refusals[name], _headers_of_refusal(status))
    return {"$ref": f"#/components/responses/{name}"}


def _refusal(status: str, slug: str, words: str) -> Part:
    """Return a refusal; its example has the type by which a program recognises it."""
    if status == "default":
        return {"description": words, "content": {MEDIA_TYPE: PROBLEM}}
    title = title_of(slug)
    example = {"type": f"/problems/{slug}", "title": title, "status": int(status),
               "detail": words, "instance": "req_01KC0000000000000000000000"}  # fmt: skip
    content = {MEDIA_TYPE: PROBLEM | {"example": example}}
    return {"description": f"{title}. {words}", "content": content}


def _headers_of_refusal(status: str) -> Iterator[str]:
    yield "X-Request-Id"
    if status == "401":
        yield "WWW-Authenticate"
    else:
        yield "RateLimit"
    if status in ("429", "503", "default"):
        yield "Retry-After"


def _headers(
    status: str, response: Part, operation: Part, schemas: Part, *, needs_key: bool
) -> Iterator[str]:
    """Yield the headers of an answer that is no refusal."""
    yield "X-Request-Id"
    if needs_key:
        yield "RateLimit"
    name = _shape_of(response.get("content", {}))
    shape = schemas.get(name, {}).get("properties", {})
    if "304" in operation["responses"] or ("requestBody" in operation and shape.keys() >= THING):
        yield "ETag"
    if status == "201" and not item_of_batch(name):
        yield "Location"
    if item_of_page(name):
        yield "Link"
    if any(each["name"] == "Idempotency-Key" for each in operation.get("parameters", [])):
        yield "Idempotent-Replayed"


def _name_headers(response: Part, names: Iterator[str]) -> None:
    response["headers"] = {name: {"$ref": f"#/components/headers/{name}"} for name in names}


def _complete_parameters(operation: Part) -> None:
    """Say what a parameter is as it is sent: without null, and If-Match as the service asks."""
    parameters = operation.get("parameters", [])
    for parameter in parameters:
        parameter["schema"] = without_null(parameter["schema"])
        if parameter["name"] == "If-Match":
            parameter["required"] = True
    if "304" in operation["responses"]:
        parameters.append(IF_NONE_MATCH)


def show_example(content: Part) -> None:
    """Add the example of a shape to its content."""
    media = content.get("application/json", {})
    name = name_in(media.get("schema", {}))
    if name in EXAMPLES:
        media["example"] = EXAMPLES[name]
    elif item := item_of_page(name):
        media["example"] = {"items": [EXAMPLES[item]], "next": None}
    elif item := item_of_batch(name):
        media["example"] = {"items": [EXAMPLES[item]]}


def _shape_of(content: Part) -> str:
    return name_in(content.get("application/json", {}).get("schema", {}))

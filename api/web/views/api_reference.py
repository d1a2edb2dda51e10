"""Show the OpenAPI document to people: calls by subject, with their shapes."""

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from api.errors import NotFound
from api.messages import say
from api.web import rendering

router = APIRouter(include_in_schema=False)

Schema = Mapping[str, Any]
#: Words, or the name of a shape to link to.
Piece = tuple[str, bool]
METHODS = ("get", "post", "patch", "put", "delete")
REF = "#/components/schemas/"
TEXTS = {
    "date": "day, as 2026-03-05",
    "date-time": "moment, as 2026-03-05T14:30:00Z",
    "binary": "file",
}
PLAIN = {"boolean": "true or false", "null": "null", "object": "named values"}
NUMBERS = {"number": "number", "integer": "whole number"}


@dataclass(frozen=True, slots=True)
class Value:
    """One value of a shape, or one parameter of a call."""

    name: str
    kind: tuple[Piece, ...]
    required: bool
    words: str


@dataclass(frozen=True, slots=True)
class Shape:
    """A named shape and its values, or its `kind` if it has no values."""

    name: str
    words: str
    values: tuple[Value, ...]
    kind: tuple[Piece, ...]


@dataclass(frozen=True, slots=True)
class Message:
    """The body of a request or an answer: its media type, its kind and an example."""

    name: str
    words: str
    media: str
    kind: tuple[Piece, ...]
    example: str | None


@dataclass(frozen=True, slots=True)
class Call:
    """One call of the API."""

    id: str
    method: str
    path: str
    title: str
    words: tuple[str, ...]
    values: tuple[Value, ...]
    asked: tuple[Message, ...]
    answered: tuple[Message, ...]
    refusals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Subject:
    """The calls of one subject, and all their shapes."""

    name: str
    calls: tuple[Call, ...]
    shapes: tuple[Shape, ...]


@router.get("/reference")
def reference(request: Request) -> HTMLResponse:
    """Return the list of all calls, by subject."""
    document = request.app.openapi()
    return rendering.show(
        "reference.html",
        about=document["info"],
        subjects=[read_subject(document, name) for name in subjects(document)],
        problem=list(read_shapes(document, ["Problem"])),
    )


@router.get("/reference/{subject}")
def reference_subject(request: Request, subject: str) -> HTMLResponse:
    """Return the calls of one subject, with their shapes."""
    document = request.app.openapi()
    return rendering.show(
        "reference_subject.html",
        subject=read_subject(document, subject),
        others=subjects(document),
    )


def subjects(document: Schema) -> list[str]:
    """Return the subjects of a document, in its order.

    >>> subjects({"paths": {"/a": {"get": {"tags": ["trials"]}, "post": {"tags": ["trials"]}}}})
    ['trials']
    """
    return list(dict.fromkeys(call["tags"][0] for _, _, call in _operations(document)))


def read_subject(document: Schema, name: str) -> Subject:
    """Return one subject of a document; refuse an unknown one."""
    operations = [each for each in _operations(document) if each[2]["tags"][0] == name]
    if not operations:
        known_names = ", ".join(subjects(document))
        raise NotFound(say("refused.no_subject", name=name, there=known_names))
    refusals = document["components"]["responses"]
    calls = tuple(_call(*each, refusals) for each in operations)
    return Subject(name, calls, tuple(read_shapes(document, _shape_names(calls))))


def read_shape(document: Schema, name: str) -> Shape:
    """Return a shape of a document.

    >>> at = {"type": "number", "minimum": 0, "maximum": 20, "x-unit": "m/s", "description": "W."}
    >>> wind = {"properties": {"wind_speed_m_s": at}, "required": ["wind_speed_m_s"]}
    >>> read_shape({"components": {"schemas": {"Wind": wind}}}, "Wind").values[0].kind
    (('number, 0 to 20 m/s', False),)
    """
    schema = document["components"]["schemas"][name]
    required = schema.get("required", ())
    values = tuple(
        Value(each, tuple(kind(facts)), each in required, _words(facts))
        for each, facts in schema.get("properties", {}).items()
    )
    return Shape(name, schema.get("description", ""), values, () if values else tuple(kind(schema)))


def kind(schema: Schema) -> Iterator[Piece]:
    """Yield the kind of a value, in words and names of shapes.

    >>> list(kind({"anyOf": [{"type": "array", "items": {"$ref": REF + "Run"}}, {"type": "null"}]}))
    [('list of ', False), ('Run', True), (' or ', False), ('null', False)]
    >>> list(kind({"type": "string", "pattern": "^ses_[0-9]{26}$"}))
    [('id, as ses_…', False)]
    """
    choices = schema.get("anyOf") or schema.get("oneOf") or schema.get("allOf")
    if "$ref" in schema:
        yield schema["$ref"].removeprefix(REF), True
    elif choices:
        for at, choice in enumerate(choices):
            yield from [(" or ", False)] if at else []
            yield from kind(choice)
    elif schema.get("type") == "array":
        yield "list of ", False
        yield from kind(schema.get("items", {}))
    else:
        yield _plain(schema), False


def _plain(schema: Schema) -> str:
    named = schema.get("type", "")
    if "const" in schema:
        return str(schema["const"])
    if "enum" in schema:
        return "one of " + ", ".join(str(each) for each in schema["enum"])
    if named in NUMBERS:
        return NUMBERS[named] + _limits(schema)
    if named == "string":
        return _text(schema)
    return PLAIN.get(named, "anything")


def _limits(schema: Schema) -> str:
    """Return the limits of a number, with its unit."""
    unit = f" {schema['x-unit']}" if schema.get("x-unit", "1") != "1" else ""
    low, high = schema.get("minimum"), schema.get("maximum")
    if low is not None and high is not None:
        return f", {low:.10g} to {high:.10g}{unit}"
    if low is None and high is None:
        return f",{unit}" if unit else ""
    return f", at least {low:.10g}{unit}" if high is None else f", at most {high:.10g}{unit}"


def _text(schema: Schema) -> str:
    prefix = re.match(r"\^([a-z]+_)\[", schema.get("pattern", ""))
    if prefix:
        return f"id, as {prefix[1]}…"
    most = schema.get("maxLength")
    return TEXTS.get(schema.get("format", ""), f"text of at most {most} signs" if most else "text")


def _operations(document: Schema) -> Iterator[tuple[str, str, Schema]]:
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                yield method, path, item[method]


def _call(method: str, path: str, operation: Schema, shared: Schema) -> Call:
    title, *words = operation.get("description", operation["summary"]).split("\n\n")
    values = tuple(
        Value(each["name"], tuple(kind(each["schema"])), each["required"], _words(each))
        for each in operation.get("parameters", ())
    )
    asked = tuple(_messages("", operation.get("requestBody", {})))
    responses = {
        code: shared.get(response.get("$ref", "").rpartition("/")[2], response)
        for code, response in operation["responses"].items()
        if code != "default"
    }
    answered = tuple(
        message
        for status, answer in responses.items()
        if not _is_refusal(status)
        for message in _messages(status, answer)
    )
    refusals = tuple(
        f"{status} {answer['description'].split('.')[0].lower()}"
        for status, answer in responses.items()
        if _is_refusal(status)
    )
    return Call(
        operation["operationId"], method.upper(), path, _joined(title),
        tuple(_joined(each) for each in words), values, asked, answered, refusals,
    )  # fmt: skip


def _is_refusal(status: str) -> bool:
    return status.startswith(("4", "5"))


def _messages(name: str, shape: Schema) -> Iterator[Message]:
    words = shape.get("description", "")
    shown = "" if words == "Successful Response" else words
    for media, content in (shape.get("content") or {"": {}}).items():
        schema, example = content.get("schema", {}), content.get("example")
        text = None if example is None else _shown(example)
        if name or media:
            yield Message(name, shown, media, tuple(kind(schema)) if schema else (), text)


def _shown(example: Any) -> str:
    is_text = isinstance(example, str)
    return example if is_text else json.dumps(example, indent=1, ensure_ascii=False)


def _words(schema: Schema) -> str:
    """Return the description of a value: its own, or that of one of its variants."""
    description = schema.get("description")
    within = (each.get("description") for each in schema.get("anyOf", ()))
    return _joined(str(description or next((each for each in within if each), "")))


def _joined(text: str) -> str:
    return " ".join(text.split())


def _shape_names(calls: Iterable[Call]) -> Iterator[str]:
    """Yield the names of the shapes in the parameters, bodies and answers of calls."""
    for call in calls:
        values = [each.kind for each in call.values]
        messages = [each.kind for each in (*call.asked, *call.answered)]
        yield from (text for kind in values + messages for text, is_shape in kind if is_shape)


def read_shapes(document: Schema, names: Iterable[str]) -> Iterator[Shape]:
    """Yield shapes and their nested shapes, each once."""
    queue, seen = list(dict.fromkeys(names)), set[str]()
    while queue:
        name = queue.pop(0)
        if name in seen:
            continue
        seen.add(name)
        shape = read_shape(document, name)
        yield shape
        kinds = (*shape.kind, *(piece for value in shape.values for piece in value.kind))
        queue += [text for text, is_shape in kinds if is_shape]

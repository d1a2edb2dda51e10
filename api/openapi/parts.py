"""Walk through an OpenAPI document."""

from collections.abc import Iterator
from typing import Any

METHODS = ("get", "post", "patch", "put", "delete")
REF = "#/components/schemas/"
Part = dict[str, Any]


def operations_of(document: Part) -> Iterator[tuple[str, Part]]:
    """Yield each operation of a document with its path.

    >>> list(operations_of({"paths": {"/a": {"get": {}, "parameters": []}}}))
    [('/a', {})]
    """
    for path, item in document["paths"].items():
        for method in METHODS:
            if method in item:
                yield path, item[method]


def parts_of(part: Any) -> Iterator[Part]:
    """Yield a part of a document and all the parts within it.

    >>> [each.get("a") for each in parts_of({"a": 1, "b": [{"a": 2}]})]
    [1, 2]
    """
    if isinstance(part, dict):
        yield part
        for inner in part.values():
            yield from parts_of(inner)
    elif isinstance(part, list):
        for inner in part:
            yield from parts_of(inner)


def name_in(schema: Part) -> str:
    """Return the name of the shape that a schema points at, or an empty text.

    >>> name_in({"$ref": "#/components/schemas/TrialRead"}), name_in({"type": "string"})
    ('TrialRead', '')
    """
    return str(schema.get("$ref", "")).rpartition("/")[2]

"""Complete the shapes of the document: names, choices, tuples, and what answers always have."""

import re
from collections.abc import Iterator

from api.openapi import untyped
from api.openapi.choices import NAMES
from api.openapi.parts import REF, Part, name_in, operations_of, parts_of

#: Shapes of answers that leave out what they do not have.
WITH_GAPS = frozenset({"Problem", "FieldError", "KeyMade", "MessageData", "WebhookMade"})
#: A page and a batch as their classes are named: with the shape of their things.
_PAGE = re.compile(r"Page_((\w+)(?:Read|Listed))_")
_BATCH = re.compile(r"Batch_(\w+)_")


def complete(document: Part) -> None:
    """Complete the shapes, and what points at them."""
    schemas = document["components"]["schemas"]
    untyped.complete(schemas)
    for part in parts_of([document["paths"], schemas]):
        _limit_tuple(part)
        _name_choices(part)
    schemas |= {name: _choice(name, values) for values, name in NAMES.items()}
    for name in sorted(schemas.keys() - _asked_for(document)):
        _as_answered(schemas[name], has_all=name not in WITH_GAPS and not item_of_page(name))
    _rename_lists(document)


def item_of_page(name: str) -> str:
    """Return the shape of a page's items, or an empty text if a shape is no page.

    >>> item_of_page("Page_TeamRead_"), item_of_page("TeamRead")
    ('TeamRead', '')
    """
    named = _PAGE.fullmatch(name)
    return named[1] if named else ""


def item_of_batch(name: str) -> str:
    """Return the shape of a batch's items, or an empty text if a shape is no batch.

    >>> item_of_batch("Batch_TeamCreate_"), item_of_batch("TeamCreate")
    ('TeamCreate', '')
    """
    named = _BATCH.fullmatch(name)
    return named[1] if named else ""


def without_null(schema: Part) -> Part:
    """Return the schema of a parameter, which is left out and never null.

    >>> without_null({"anyOf": [{"type": "string"}, {"type": "null"}], "title": "Team Id"})
    {'type': 'string', 'title': 'Team Id'}
    """
    choices: list[Part] = [each for each in schema.get("anyOf", ()) if each != {"type": "null"}]
    if len(choices) != 1:
        return schema
    return choices[0] | {name: value for name, value in schema.items() if name != "anyOf"}


def _limit_tuple(part: Part) -> None:
    """Say of which kind all items of a tuple are, for programs that know lists only."""
    kinds = part.get("prefixItems")
    if isinstance(kinds, list) and all(kind == kinds[0] for kind in kinds):
        part["items"] = kinds[0]


def _name_choices(part: Part) -> None:
    """Let a list of allowed values that several shapes share point at its one name."""
    values = part.get("enum")
    name = NAMES.get(tuple(values)) if isinstance(values, list) else None
    if name:
        del part["enum"], part["type"]
        part["$ref"] = f"{REF}{name}"


def _choice(name: str, values: tuple[str, ...]) -> Part:
    return {"title": name, "type": "string", "enum": list(values)}


def _as_answered(schema: Part, *, has_all: bool) -> None:
    """Let an answer be without defaults, and say whether it has all its values, if only as null."""
    for value in schema.get("properties", {}).values():
        value.pop("default", None)
    if has_all and "properties" in schema:
        schema["required"] = list(schema["properties"])


def _asked_for(document: Part) -> set[str]:
    """Return the names of shapes that requests contain, whose values have defaults."""
    asked = [operation.get("requestBody", {}) for _, operation in operations_of(document)]
    return set(_within(document["components"]["schemas"], asked))


def _within(schemas: Part, parts: list[Part]) -> Iterator[str]:
    """Yield the names of the shapes that parts point at, and of those within them, each once."""
    queue, seen = list(parts), set[str]()
    while queue:
        named = {name_in(each) for each in parts_of(queue.pop())} - seen - {""}
        seen |= named
        queue += [schemas[name] for name in sorted(named)]
        yield from named


def _rename_lists(document: Part) -> None:
    """Name a list by its things, as in `TeamPage`, instead of by how it is made."""
    schemas = document["components"]["schemas"]
    names = {name: new_name for name in schemas if (new_name := _list_name(name))}
    for name, new_name in names.items():
        schemas[new_name] = schemas.pop(name) | {"title": new_name}
    for part in parts_of(document):
        if name_in(part) in names:
            part["$ref"] = f"{REF}{names[name_in(part)]}"


def _list_name(name: str) -> str:
    """Return the new name of a list, or an empty text if a shape is no list.

    >>> [_list_name(name) for name in ("Page_TeamRead_", "Batch_TeamCreate_", "TeamRead")]
    ['TeamPage', 'TeamCreateBatch', '']
    """
    if named := _PAGE.fullmatch(name):
        return f"{named[2]}Page"
    return f"{item}Batch" if (item := item_of_batch(name)) else ""

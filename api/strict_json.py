"""Read JSON that all parsers understand alike: UTF-8, no NaN, no repeated names, few names."""

import json
from typing import Any

from api.messages import say

#: Most names in one object. The largest shape has about forty; each unknown name is reported.
MOST_NAMES = 200


class NotOurJson(ValueError):
    """JSON that is broken, or that other parsers would understand differently."""


def broken() -> NotOurJson:
    """Return the error for a text that is not JSON."""
    return NotOurJson(say("import_json.broken"))


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(pairs) > MOST_NAMES:
        raise NotOurJson(say("import_json.many_names", count=len(pairs), most=MOST_NAMES))
    values_by_name = dict(pairs)
    if len(values_by_name) != len(pairs):
        raise NotOurJson(say("import_json.name_twice"))
    return values_by_name


def _refuse_constant(word: str) -> Any:
    raise NotOurJson(say("import_json.not_a_number", word=word))


_DECODER = json.JSONDecoder(object_pairs_hook=_unique, parse_constant=_refuse_constant)


def text_of(body: bytes) -> str:
    """Return a body as text; raise `NotOurJson` if it is not UTF-8."""
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise broken() from error


def read_json(body: bytes) -> Any:
    """Return the value of a body; raise `NotOurJson` if it is not strict JSON.

    >>> read_json(b'{"load_ohm": 30.1}')
    {'load_ohm': 30.1}
    >>> read_json(b'{"load_ohm": NaN}')
    Traceback (most recent call last):
    api.strict_json.NotOurJson: NaN is not a number here
    """
    try:
        return _DECODER.decode(text_of(body))
    except NotOurJson:
        raise
    except (ValueError, RecursionError) as error:
        raise broken() from error


def read_one(text: str, at: int) -> tuple[Any, int]:
    """Return the value that begins at a position of a text, and where it ends.

    Raise `NotOurJson` if it breaks a rule, and `ValueError` if the text ends within it.
    """
    try:
        return _DECODER.raw_decode(text, at)
    except RecursionError as error:
        raise NotOurJson(say("import_json.too_deep")) from error

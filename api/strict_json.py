"""JSON as every reader understands it: UTF-8, no NaN, no name twice, no object of endless names."""

import json
from typing import Any

from api.messages import say

#: Names in one object. The largest shape here has some forty; each unknown name costs an answer.
MOST_NAMES = 200


class NotOurJson(ValueError):
    """JSON that is broken, or that other readers would understand in different ways."""


def broken() -> NotOurJson:
    """Return the refusal of a text that is not JSON at all."""
    return NotOurJson(say("import_json.broken"))


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    if len(pairs) > MOST_NAMES:
        raise NotOurJson(say("import_json.many_names", count=len(pairs), most=MOST_NAMES))
    named = dict(pairs)
    if len(named) != len(pairs):
        raise NotOurJson(say("import_json.name_twice"))
    return named


def _refuse_constant(word: str) -> Any:
    raise NotOurJson(say("import_json.not_a_number", word=word))


_DECODER = json.JSONDecoder(object_pairs_hook=_unique, parse_constant=_refuse_constant)


def text_of(body: bytes) -> str:
    """Return a body as text; raise `NotOurJson` where it is not UTF-8."""
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise broken() from error


def read_json(body: bytes) -> Any:
    """Return what a body says; raise `NotOurJson` where that is not clear.

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
    """Return the value that begins at a place of a text, and where it ends.

    Raise `NotOurJson` where it breaks a rule, and `ValueError` where the text ends before it does.
    """
    try:
        return _DECODER.raw_decode(text, at)
    except RecursionError as error:
        raise NotOurJson(say("import_json.too_deep")) from error

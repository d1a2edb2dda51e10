"""Faults of validators: a code, and a sentence in the current language."""

from typing import Any

from pydantic_core import PydanticCustomError

from api.messages import say


def fault(code: str, key: str, **values: Any) -> PydanticCustomError:
    """Return a fault with the words of a message.

    What was typed may be part of the words, and a brace in it means nothing.

    >>> fault("date_form", "fault.date_form").message()
    'must be a date written as 2026-03-05'
    """
    return PydanticCustomError(code, "{words}", {"words": say(key, **values)})

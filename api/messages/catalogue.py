"""Find a message by its key, fill in its values and write numbers as its language does.

The catalogues are gettext files (`locale/en.po`, …), which all tools for translators open. A
message's id is its key, so that English texts can change without a change of the code.
"""

from collections.abc import Callable, Mapping
from functools import cache
from gettext import c2py
from string import Formatter
from typing import Any

from babel.messages.catalog import Message
from babel.messages.pofile import read_po

from api.messages.languages import DEFAULT, FOLDER, current_language
from api.messages.numbers import decimal_sign


class Catalogue:
    """The messages of one language."""

    def __init__(self, language: str) -> None:
        with (FOLDER / f"{language}.po").open("rb") as file:
            read = read_po(file, locale=language)
        #: Each message's forms: one, or one for each plural of the language.
        self.forms = {key: forms for key, forms in map(_forms, read) if key}
        self._plural: Callable[[int], int] = c2py(read.plural_expr)
        self._writer = _Writer(decimal_sign(language))

    def say(self, key: str, values: Mapping[str, Any]) -> str:
        """Return a message with its values; one with plurals is chosen by `count`."""
        forms = self.forms[key]
        text = forms[0] if len(forms) == 1 else forms[self._plural(int(values["count"]))]
        return self._writer.write(text, values)


def _forms(message: Message) -> tuple[str, tuple[str, ...]]:
    """Return a message's key and its forms; the header of a file has an empty key."""
    key = message.id if isinstance(message.id, str) else message.id[0]
    texts = message.string
    return key, (texts,) if isinstance(texts, str) else tuple(texts or ())


class _Writer(Formatter):
    """Writes numbers with the decimal sign of a language."""

    def __init__(self, decimal_sign: str) -> None:
        self._decimal_sign = decimal_sign
        #: Python's own formatting is five times as fast, and writes a point.
        self.write = str.format_map if decimal_sign == "." else self._fill_in

    def _fill_in(self, text: str, values: Mapping[str, Any]) -> str:
        """Return a text with its values filled in."""
        return self.vformat(text, (), values)

    def format_field(self, value: Any, spec: str) -> str:
        """Return one value in its format."""
        text = format(value, spec)
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        return text.replace(".", self._decimal_sign) if is_number else text


@cache
def catalogue(language: str = DEFAULT) -> Catalogue:
    """Return the messages of a language."""
    return Catalogue(language)


def say(key: str, **values: Any) -> str:
    """Return a message in the current language; an unknown key is an error.

    >>> say("page.as_of", when="5 March 2026, 14:30 UTC")
    'As of 5 March 2026, 14:30 UTC.'
    >>> say("imports.doubts", count=1), say("imports.doubts", count=2)
    ('What looks odd (1 row)', 'What looks odd (2 rows)')
    """
    return catalogue(current_language()).say(key, values)


def has_key(key: str) -> bool:
    """Tell whether there is a message with this key."""
    return key in catalogue().forms

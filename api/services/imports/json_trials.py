"""Read the trials of a JSON batch one by one, so that a large batch blocks no other request.

Python parses a JSON text in one step and blocks all other threads meanwhile: microseconds for a
trial, half a second for a batch of 20 MB.
"""

import re
from collections.abc import Iterator
from typing import Any

from api.errors import FieldError, Invalid, Malformed, TooLarge
from api.messages import say
from api.strict_json import NotOurJson, broken, read_one, text_of

#: Length of text parsed for the next trials, and at most for one. [characters]
WINDOW, LONGEST_TRIAL = 100_000, 2_000_000
LONGEST_CUT = 2  # of a number that is cut within its exponent, "e+" is not read as part of it
BLANK = r"[ \t\r\n]*"
OPENING = re.compile(rf'{BLANK}\{{{BLANK}"trials"{BLANK}:{BLANK}\[{BLANK}')
COMMA = re.compile(rf"{BLANK},{BLANK}")
LIST_END, CLOSING = re.compile(rf"{BLANK}\]"), re.compile(rf"{BLANK}\]{BLANK}\}}{BLANK}")
SHAPE = '{"trials": [...]}'


def read_items(body: bytes, most: int) -> Iterator[Any]:
    r"""Yield the items of a batch, of any type.

    Raise `Malformed` if the text cannot be parsed, `Invalid` if it is not a batch, and `TooLarge`
    for more than `most` items.

    >>> list(read_items(b'{"trials": [{"load_ohm": 30.1}, {"load_ohm": 33}]}', 10))
    [{'load_ohm': 30.1}, {'load_ohm': 33}]
    """
    try:
        yield from _Batch(text_of(body), most).items()
    except NotOurJson as error:
        raise Malformed(say("import_json.unreadable", reason=error)) from error


class _Batch:
    """The text of a batch, with a window for parsing."""

    def __init__(self, text: str, most: int) -> None:
        self._text, self._most = text, most
        self._window, self._start = "", 0

    def items(self) -> Iterator[Any]:
        """Yield the items one by one."""
        opening = OPENING.match(self._text)
        if opening is None:
            raise self._no_batch()
        at, count = opening.end(), 0
        is_over = self._is_over(at)
        while not is_over:
            count += 1
            if count > self._most:
                raise TooLarge(say("import_json.many_trials", most=self._most))
            item, at = self._read(at)
            yield item
            is_over = self._is_over(at)
            at = at if is_over else self._after_comma(at)

    def _is_over(self, at: int) -> bool:
        """Tell whether the batch ends at a position; refuse text after its end."""
        closing = CLOSING.match(self._text, at)
        if closing is None and LIST_END.match(self._text, at):
            raise _wrong_shape()
        if closing is not None and closing.end() != len(self._text):
            raise broken()
        return closing is not None

    def _no_batch(self) -> Exception:
        """Return the error for a text that does not begin as a batch does."""
        try:
            read_one(self._text[:WINDOW].lstrip(), 0)
        except NotOurJson as error:
            return error
        except ValueError:
            if len(self._text) <= WINDOW:
                return broken()
        return _wrong_shape()

    def _after_comma(self, at: int) -> int:
        """Return where the next item begins."""
        comma = COMMA.match(self._text, at)
        if comma is None:
            raise broken()
        return comma.end()

    def _read(self, at: int) -> tuple[Any, int]:
        """Return the item at a position and where it ends; refuse one that is too long."""
        for width in (0, WINDOW, LONGEST_TRIAL):
            if width:
                self._window, self._start = self._text[at : at + width], at
            item_and_end = self._read_in_window(at - self._start)
            if item_and_end is not None:
                return item_and_end
        if at + LONGEST_TRIAL < len(self._text):
            raise TooLarge(say("import_json.long_trial", most=LONGEST_TRIAL))
        raise broken()

    def _read_in_window(self, at: int) -> tuple[Any, int] | None:
        """Return the item if the window has all of it; a number at its end may be cut."""
        try:
            item, end = read_one(self._window, at)
        except NotOurJson:
            raise
        except (ValueError, IndexError):
            return None
        is_last = self._start + len(self._window) >= len(self._text)
        is_complete = is_last or end + LONGEST_CUT < len(self._window)
        return (item, self._start + end) if is_complete else None


def _wrong_shape() -> Invalid:
    words = say("import_json.shape", shape=SHAPE)
    return Invalid(words, [FieldError("shape", words, pointer="/trials")])

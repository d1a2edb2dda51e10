"""Giving memory back without stopping every thread.

Python's search for garbage stops every thread while it goes through what was made since the last
one. A large import makes millions of things, and each search took up to half a second in which no
request was answered. What an import makes is given back when it ends, without a search.
"""

import gc
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

#: What is made of a smaller body is soon gone through.
LARGE_BYTES = 20_000

_turn = threading.Lock()
_working: list[object] = []


@contextmanager
def no_search_for_garbage(byte_count: int) -> Iterator[None]:
    """Leave the search out while a body of so many bytes is worked on, if that is large."""
    if byte_count < LARGE_BYTES:
        yield
        return
    with _turn:
        _working.append(object())
        gc.disable()
    try:
        yield
    finally:
        with _turn:
            _working.pop()
            if not _working:
                gc.enable()


def let_go(things: list[Any]) -> None:
    """Empty a long list one by one: to free it as a whole would stop every thread meanwhile."""
    while things:
        things.pop()

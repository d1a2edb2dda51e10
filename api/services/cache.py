"""Whole answers, kept under what they rest on, so that they can never be out of date.

A key holds the season's revision, which every write to the season raises: a
changed fact is a new key, and the old answer is simply not asked for again.
Each database has a cache of its own, since two copies of one programme share
ids and revisions and may differ in everything else.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, Generic, TypeVar
from weakref import WeakKeyDictionary

from sqlalchemy import Engine
from sqlmodel import Session

MOST_KEPT = 64

Value = TypeVar("Value")


class Cache(Generic[Value]):
    """The answers asked for most recently."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, Value] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}
        self._turn = threading.Lock()

    def get_or_make(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """Return the answer kept under a key, or make and keep it; who asks meanwhile waits."""
        with self._turn:
            making = self._making.setdefault(key, threading.Lock())
        try:
            with making:
                with self._turn:
                    if key in self._kept:
                        self._kept.move_to_end(key)
                        return self._kept[key]
                return self._keep(key, make())
        finally:
            with self._turn:
                self._making.pop(key, None)

    def _keep(self, key: Hashable, value: Value) -> Value:
        with self._turn:
            self._kept[key] = value
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return value


_caches: WeakKeyDictionary[Engine, Cache[Any]] = WeakKeyDictionary()


APART = "answers of this session alone"


def keep_apart(db: Session) -> None:
    """Keep answers of this session to itself: they rest on facts that may yet be taken back."""
    db.info[APART] = Cache(MOST_KEPT)


def cache_of(db: Session) -> Cache[Any]:
    """Return the cache of the database that a session reads."""
    apart: Cache[Any] | None = db.info.get(APART)
    return apart or _caches.setdefault(db.get_bind().engine, Cache(MOST_KEPT))

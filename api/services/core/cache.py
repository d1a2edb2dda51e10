"""Whole answers, kept with the revision they rest on, so that they can never be out of date.

Every write to a season raises its revision: of each subject the answer by the
newest one is kept, and the one before it forgotten.
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

from api.services.core.computing import SeasonQueue

MOST_KEPT = 64
MOST_PINNED = 500

Value = TypeVar("Value")


class Pinned:
    """Things that were put aside by name; the ones asked for least recently go first."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._put: OrderedDict[Hashable, Any] = OrderedDict()
        self._turn = threading.Lock()

    def get_or_make(self, name: Hashable, make: Callable[[], Any]) -> Any:
        """Return what was put aside under a name, or make it and put it there."""
        with self._turn:
            if name not in self._put:
                self._put[name] = make()
            self._put.move_to_end(name)
            while len(self._put) > self._most:
                self._put.popitem(last=False)
            return self._put[name]


class Cache(Generic[Value]):
    """The answers asked for most recently."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, tuple[int, Value]] = OrderedDict()
        self._making: dict[Hashable, threading.Lock] = {}
        self._turn = threading.Lock()
        #: Who waits for answers that are not kept yet.
        self.queue = SeasonQueue()
        #: What stays whatever the revision, such as what was published to whom.
        self.pinned = Pinned(MOST_PINNED)

    def get_or_make(self, subject: Hashable, revision: int, make: Callable[[], Value]) -> Value:
        """Return what is kept of a subject, or make and keep it; who asks meanwhile waits."""
        key = subject, revision
        with self._turn:
            making = self._making.setdefault(key, threading.Lock())
        try:
            with making:
                with self._turn:
                    kept = self._kept.get(subject)
                    if kept is not None and kept[0] == revision:
                        self._kept.move_to_end(subject)
                        return kept[1]
                return self._keep(subject, revision, make())
        finally:
            with self._turn:
                self._making.pop(key, None)

    def newest(self, subject: Hashable, revision: int) -> tuple[int, Value] | None:
        """Return what is kept of a subject with its revision, if that is this one or newer."""
        with self._turn:
            kept = self._kept.get(subject)
            if kept is None or kept[0] < revision:
                return None
            self._kept.move_to_end(subject)
            return kept

    def _keep(self, subject: Hashable, revision: int, value: Value) -> Value:
        with self._turn:
            before = self._kept.get(subject)
            # Who reads an earlier moment gets its answer, and leaves the newer one where it is.
            if before is None or before[0] < revision:
                self._kept[subject] = revision, value
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return value


_caches: WeakKeyDictionary[Engine, Cache[Any]] = WeakKeyDictionary()


def is_computing(engine: Engine) -> bool:
    """Tell whether answers are being worked out from a database now."""
    cache = _caches.get(engine)
    return cache is not None and cache.queue.is_working


APART = "answers of this session alone"


def keep_apart(db: Session) -> None:
    """Keep answers of this session to itself: they depend on facts that may not be committed."""
    db.info[APART] = Cache(MOST_KEPT)


def is_apart(db: Session) -> bool:
    """Tell whether answers of a session are kept to itself."""
    return APART in db.info


def cache_of(db: Session) -> Cache[Any]:
    """Return the cache of the database that a session reads."""
    apart: Cache[Any] | None = db.info.get(APART)
    return apart or _caches.setdefault(db.get_bind().engine, Cache(MOST_KEPT))

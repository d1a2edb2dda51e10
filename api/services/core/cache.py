"""Cache complete answers with the season revision they depend on, so that none is out of date.

Every write to a season raises its revision. For each subject the cache holds the answer
of the newest revision only.
Each database has a cache of its own, since two copies of one programme share
ids and revisions and may differ in everything else.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, Generic, NamedTuple, TypeVar
from weakref import WeakKeyDictionary

from sqlalchemy import Engine
from sqlmodel import Session

from api.services.core.computing import SeasonQueue
from api.services.core.refreshing import Refresher
from api.services.core.sizes import size_of

#: How much is cached of one database, by the estimate of `size_of`; so many answers are always.
MOST_BYTES, LEAST_CACHED = 160_000_000, 24
MOST_PINNED = 500

Value = TypeVar("Value")


#: The view of a season that all keys share whose own trials are as published; part of subjects.
PUBLISHED = "published"


class AnswerSubject(NamedTuple):
    """What a cached answer about a season is about, and whose view of the season it shows.

    The view is None for keys that see everything.
    """

    about: tuple[Hashable, ...]
    season_id: str
    view: Hashable
    language: str


class NamedCache:
    """A cache of values by name that drops the least recently used first."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._values: OrderedDict[Hashable, Any] = OrderedDict()
        self._turn = threading.Lock()

    def get_or_make(self, name: Hashable, make: Callable[[], Any]) -> Any:
        """Return the cached value of a name, or make it and cache it."""
        with self._turn:
            if name not in self._values:
                self._values[name] = make()
            self._values.move_to_end(name)
            while len(self._values) > self._most:
                self._values.popitem(last=False)
            return self._values[name]


class Cache(Generic[Value]):
    """A cache of the answers used most recently, one per subject, of bounded size."""

    def __init__(self, most_bytes: int = MOST_BYTES, least: int = LEAST_CACHED) -> None:
        self._most_bytes, self._least = most_bytes, least
        self._answers: OrderedDict[Hashable, tuple[int, Value]] = OrderedDict()
        self._bytes: dict[Hashable, int] = {}
        self._making: dict[Hashable, threading.Lock] = {}
        self._turn = threading.Lock()
        #: The requests for answers that are not cached yet.
        self.queue = SeasonQueue()
        self.refresher = Refresher(self.queue)
        #: Values that do not depend on the revision, such as what was published to which key.
        self.pinned = NamedCache(MOST_PINNED)

    def get_or_make(self, subject: Hashable, revision: int, make: Callable[[], Value]) -> Value:
        """Return the cached answer for a subject, or make and cache it; concurrent callers wait."""
        key = subject, revision
        with self._turn:
            making = self._making.setdefault(key, threading.Lock())
        try:
            with making:
                with self._turn:
                    cached = self._answers.get(subject)
                    if cached is not None and cached[0] == revision:
                        self._answers.move_to_end(subject)
                        return cached[1]
                return self._store(subject, revision, make())
        finally:
            with self._turn:
                self._making.pop(key, None)

    def newest(self, subject: Hashable, revision: int) -> tuple[int, Value] | None:
        """Return the cached answer with its revision, if that is the given one or newer."""
        with self._turn:
            cached = self._answers.get(subject)
            if cached is None or cached[0] < revision:
                return None
            self._answers.move_to_end(subject)
            return cached

    def outdate(self, season_id: str, revision: int) -> None:
        """Make answers of a revision older ones, for all who see others' trials as published."""
        with self._turn:
            for subject, (of, value) in self._answers.items():
                if of == revision and _shows_published(subject, season_id):
                    self._answers[subject] = of - 1, value

    def _store(self, subject: Hashable, revision: int, value: Value) -> Value:
        size = size_of(value)
        with self._turn:
            before = self._answers.get(subject)
            # A reader of an earlier revision gets its answer; the newer one stays cached.
            if before is None or before[0] < revision:
                self._answers[subject], self._bytes[subject] = (revision, value), size
                self._answers.move_to_end(subject)
            while len(self._answers) > self._least and sum(self._bytes.values()) > self._most_bytes:
                dropped, _ = self._answers.popitem(last=False)
                del self._bytes[dropped]
        return value


def _shows_published(subject: Hashable, season_id: str) -> bool:
    """Tell whether something about a season depends on what is published of it."""
    if isinstance(subject, AnswerSubject):
        return subject.season_id == season_id and subject.view is not None
    return isinstance(subject, tuple) and PUBLISHED in subject and season_id in subject


_caches: WeakKeyDictionary[Engine, Cache[Any]] = WeakKeyDictionary()


def is_computing(engine: Engine) -> bool:
    """Tell whether answers from a database are being computed now."""
    cache = _caches.get(engine)
    return cache is not None and cache.queue.is_working


def stop_refreshing(engine: Engine) -> None:
    """Make no answer of a database any more that no request waits for."""
    cache = _caches.get(engine)
    if cache is not None:
        cache.refresher.stop()


OWN_CACHE = "own cache"


def use_own_cache(db: Session) -> None:
    """Give this session a cache of its own: its answers may depend on uncommitted facts."""
    db.info[OWN_CACHE] = Cache()


def has_own_cache(db: Session) -> bool:
    """Tell whether a session has a cache of its own."""
    return OWN_CACHE in db.info


def cache_of(db: Session) -> Cache[Any]:
    """Return the cache of the database that a session reads."""
    own_cache: Cache[Any] | None = db.info.get(OWN_CACHE)
    return own_cache or _caches.setdefault(db.get_bind().engine, Cache())

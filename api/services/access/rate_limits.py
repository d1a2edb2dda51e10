"""Limit requests per key, and wrong secrets per key and network.

Requests are counted by key and minute, wrong secrets by key and network and a quarter of an hour:
guesses from one network cannot lock the key's owner out elsewhere. A process on its own counts in
memory; several processes on one database server count in a table, so that they count together:
guesses, actions of a day and small limits at once, requests otherwise every second, since a
transaction for each would be a fifth of the work of answering it.
"""

import ipaddress
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, Protocol

from sqlalchemy import Engine, delete
from sqlalchemy.dialects.postgresql import insert
from sqlmodel import col

from api.errors import TooMany
from api.messages import say
from api.models.access.rates import RateCount

MINUTE, GUESSING, DAY = 60, 900, 86_400  # [s]
MOST_GUESSES, MOST_GUESSES_OF_NETWORK = 10, 1000
MOST_WINDOWS = 20_000
#: How often a process writes the requests that it counted, for the others. [s]
SOON_S = 1.0
#: A limit so small that what others count in a second matters, is counted at once. [1/min]
EXACT_BELOW = 6000
#: How often something was counted, by its name, the length of its window, and the window.
Counted = dict[tuple[str, int, int], int]
#: Actions that are limited per key and day.
Daily = Literal["keys", "links", "imports", "webhook_tests"]


class Counter(Protocol):
    """Counts within windows of time."""

    def add(self, name: str, window_s: int, now: float) -> int:
        """Count something, and return how often it was counted in this window."""

    def add_soon(self, name: str, window_s: int, now: float) -> int:
        """Count something; what other processes counted in the last second may be missing."""


class InMemory:
    """Counts of one process."""

    def __init__(self) -> None:
        self._counts: Counted = {}
        self._turn = threading.Lock()

    def add(self, name: str, window_s: int, now: float) -> int:
        """Count something, and return how often it was counted in this window."""
        window = int(now // window_s)
        with self._turn:
            if len(self._counts) > MOST_WINDOWS:
                self._forget(now)
            count = self._counts.get((name, window_s, window), 0) + 1
            self._counts[name, window_s, window] = count
            return count

    def add_soon(self, name: str, window_s: int, now: float) -> int:
        """Count something; there are no other processes."""
        return self.add(name, window_s, now)

    def _forget(self, now: float) -> None:
        """Remove the counts of windows that are over."""
        self._counts = _running(self._counts, now)


class InDatabase:
    """Counts that several processes share, by their name and window."""

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._turn = threading.Lock()
        #: What this process counted since it last wrote, and what all had counted then.
        self._unwritten: Counted = {}
        self._written: Counted = {}
        self._written_at_s = 0.0

    def add(self, name: str, window_s: int, now: float) -> int:
        """Count something, and return how often it was counted in this window."""
        place = (name, window_s, int(now // window_s))
        return self._write({place: 1}, now)[place]

    def add_soon(self, name: str, window_s: int, now: float) -> int:
        """Count something; one request a second writes what all have counted until then."""
        place = (name, window_s, int(now // window_s))
        with self._turn:
            self._unwritten[place] = self._unwritten.get(place, 0) + 1
            count = self._written.get(place, 0) + self._unwritten[place]
            if abs(now - self._written_at_s) < SOON_S:
                return count
            counts, self._unwritten, self._written_at_s = self._unwritten, {}, now
            for each, added in counts.items():
                self._written[each] = self._written.get(each, 0) + added
        totals = self._write(counts, now)
        with self._turn:
            self._written = _running(self._written | totals, now)
        return totals[place]

    def _write(self, counts: Counted, now: float) -> Counted:
        """Add counts to the table, and return how often each was counted by all processes."""
        # In one order, so that processes that add the same names do not wait for each other.
        rows = [
            {"name": name, "window": window, "window_s": window_s, "count": count}
            for (name, window_s, window), count in sorted(counts.items())
        ]
        added = insert(RateCount).values(rows)
        counted = added.on_conflict_do_update(
            index_elements=["name", "window"],
            set_={"count": RateCount.count + added.excluded.count},
        ).returning(
            col(RateCount.name), col(RateCount.window_s), col(RateCount.window),
            col(RateCount.count),
        )  # fmt: skip
        with self._engine.begin() as connection:
            connection.exec_driver_sql("SET LOCAL synchronous_commit = off")  # a count may be lost
            totals = {(each[0], each[1], each[2]): each[3] for each in connection.execute(counted)}
            if any(totals[place] == count for place, count in counts.items()):
                # The first count of a window removes those that are over.
                over = (col(RateCount.window) + 2) * col(RateCount.window_s) < now
                connection.execute(delete(RateCount).where(over))
        return totals


def _running(counts: Counted, now: float) -> Counted:
    """Return the counts of windows that are not over."""
    return {
        (name, window_s, window): count
        for (name, window_s, window), count in counts.items()
        if (window + 1) * window_s > now
    }


@dataclass(frozen=True, slots=True)
class Rate:
    """The state of a rate limit in the running window."""

    limit: int
    remaining: int
    reset_s: int

    def headers(self) -> dict[str, str]:
        """Return the response headers (draft-ietf-httpapi-ratelimit-headers-11)."""
        return {
            "RateLimit-Policy": f'"key";q={self.limit};w={MINUTE}',
            "RateLimit": f'"key";r={self.remaining};t={self.reset_s}',
        }


class Limits:
    """The rate limits of one programme."""

    def __init__(
        self,
        counter: Counter,
        per_minute: int,
        per_day: Mapping[Daily, int],
        clock: Callable[[], float] = time.time,
    ) -> None:
        self._counter, self._clock = counter, clock
        self._per_minute, self._per_day = per_minute, per_day

    def take(self, key_id: str) -> Rate:
        """Count a request of a key, or refuse it."""
        now = self._clock()
        add = self._counter.add if self._per_minute < EXACT_BELOW else self._counter.add_soon
        count = add(f"key {key_id}", MINUTE, now)
        reset = MINUTE - int(now % MINUTE)
        rate = Rate(self._per_minute, max(0, self._per_minute - count), reset)
        if count > self._per_minute:
            words = say("refused.rate", most=self._per_minute, seconds=reset)
            raise TooMany(words, reset, rate.headers())
        return rate

    def take_today(self, what: Daily, key_id: str) -> None:
        """Count an action that is limited per key and day, or refuse it."""
        now, most = self._clock(), self._per_day[what]
        if self._counter.add(f"{what} {key_id}", DAY, now) > most:
            reset = DAY - int(now % DAY)
            raise TooMany(say(f"refused.most_{what}", most=most), reset)

    def note_guess(self, key_id: str, network: str) -> None:
        """Count a key whose secret was wrong; refuse the network that sent too many of them."""
        now = self._clock()
        of_key = self._counter.add(f"guess {key_id} {network}", GUESSING, now)
        of_network = self._counter.add(f"guess {network}", GUESSING, now)
        if of_key > MOST_GUESSES or of_network > MOST_GUESSES_OF_NETWORK:
            reset = GUESSING - int(now % GUESSING)
            raise TooMany(say("refused.guesses"), reset)


def network_of(address: str) -> str:
    """Return the network of an address: the first 24 bits of IPv4, the first 48 of IPv6.

    >>> network_of("203.0.113.77"), network_of("2001:db8:1:2::3"), network_of("testclient")
    ('203.0.113.0/24', '2001:db8:1::/48', 'testclient')
    """
    try:
        bits = 24 if ipaddress.ip_address(address).version == 4 else 48
    except ValueError:
        return address[:60]
    return str(ipaddress.ip_network(f"{address}/{bits}", strict=False))

"""Compute the answers of a season in one thread at a time, for all requests that wait.

Without this queue, requests that come while trials arrive would all compute at once, each for a
revision of its own, and each would take as long as all of them together. Here one waiting request
computes a round for all: from one snapshot, newer than all their requests, so that the parts that
their answers share are computed once.
"""

import threading
from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any


@dataclass(eq=False, slots=True)
class Asked:
    """A requested answer: its subject, the function that makes it, and its outcome."""

    subject: Hashable
    make: Callable[..., Any]
    #: The view of the season, by what the key may see.
    view: Hashable = None
    outcome: Any = None
    error: BaseException | None = None
    is_done: bool = False

    def taken(self) -> Any:
        """Return the answer, or raise what went wrong."""
        if self.error is not None:
            raise self.error
        return self.outcome


#: Opens a snapshot of the database, and gives the function that computes an answer from it.
Moment = Callable[[], AbstractContextManager[Callable[[Asked], Any]]]


class SeasonQueue:
    """The requests that wait for answers from one database, by season."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._waiting: dict[str, list[Asked]] = {}
        self._working: dict[str, int] = {}
        #: The seasons whose answers are made although no request waits for them.
        self._in_background: set[str] = set()
        #: For each season, the order in which its views were last served.
        self._served: dict[str, Counter[Hashable]] = {}

    @property
    def is_working(self) -> bool:
        """Tell whether answers of any season are being computed that requests wait for."""
        return bool(self._working.keys() - self._in_background)

    def is_mine(self, season_id: str) -> bool:
        """Tell whether this thread computes the answers of a season."""
        return self._working.get(season_id) == threading.get_ident()

    def wait(self, season_id: str, asked: Asked, moment: Moment) -> None:
        """Wait until the answer is computed, by the thread that works for all or by this one."""
        with self._changed:
            self._waiting.setdefault(season_id, []).append(asked)
            self._changed.notify_all()  # another request may be last in the order now
        while together := self._taken(season_id, asked):
            try:
                self._do_all(season_id, together, moment)
            finally:
                with self._changed:
                    del self._working[season_id]
                    self._put_back(season_id, [each for each in together if not each.is_done])
                    self._changed.notify_all()

    def run(self, season_id: str, together: Sequence[Asked], moment: Moment) -> None:
        """Compute answers that no request waits for, when no others of the season are computed.

        Those that are not done, because a request has come, are left as they are.
        """
        with self._changed:
            self._changed.wait_for(lambda: season_id not in self._working)
            self._working[season_id] = threading.get_ident()
            self._in_background.add(season_id)
            self._served.setdefault(season_id, Counter())
        try:
            self._do_all(season_id, together, moment)
        finally:
            with self._changed:
                del self._working[season_id]
                self._in_background.discard(season_id)
                self._put_back(season_id, [])
                self._changed.notify_all()

    def _taken(self, season_id: str, asked: Asked) -> list[Asked]:
        """Return all waiting requests if this thread computes them; none once its own is done."""
        with self._changed:
            self._changed.wait_for(lambda: asked.is_done or self._leads(season_id, asked))
            if asked.is_done:
                return []
            self._working[season_id] = threading.get_ident()
            return self._in_turn(season_id, self._waiting.pop(season_id))

    def _leads(self, season_id: str, asked: Asked) -> bool:
        """Tell whether this request begins the next round; the last in the order does.

        So no thread computes for others after its own answer is done.
        """
        if season_id in self._working:
            return False
        return self._in_turn(season_id, self._waiting[season_id])[-1] is asked

    def _in_turn(self, season_id: str, together: Sequence[Asked]) -> list[Asked]:
        """Return requests in turn by view, beginning with the view served least recently.

        So a view that asks for many answers cannot delay all others.
        """
        served = self._served.setdefault(season_id, Counter())
        of_view = Counter[Hashable]()
        turns = []
        for asked in together:
            turns.append((of_view[asked.view], served[asked.view]))
            of_view[asked.view] += 1
        return [together[at] for at in sorted(range(len(together)), key=lambda at: turns[at])]

    def _put_back(self, season_id: str, left: Sequence[Asked]) -> None:
        """Queue the requests again that a round did not reach."""
        if left:
            self._waiting[season_id] = [*left, *self._waiting.get(season_id, [])]
        if season_id not in self._waiting:
            self._served.pop(season_id, None)

    def _do_all(self, season_id: str, together: Sequence[Asked], moment: Moment) -> None:
        """Compute answers from one snapshot, each once for all requests with the same subject.

        The round ends early if a request is waiting whose view was served less recently.
        """
        by_subject = defaultdict[Hashable, list[Asked]](list)
        for asked in together:
            by_subject[asked.subject].append(asked)
        try:
            with moment() as answer:
                for same in by_subject.values():
                    _finish(same, answer)
                    if self._is_others_turn(season_id, same[0].view):
                        return
        except BaseException as error:
            _fail(together, error)

    def _is_others_turn(self, season_id: str, view: Hashable) -> bool:
        """Release the finished requests; tell whether a view served less recently is waiting."""
        with self._changed:
            self._changed.notify_all()
            served = self._served[season_id]
            served[view] = max(served.values(), default=0) + 1
            requests = self._waiting.get(season_id, [])
            return any(served[asked.view] < served[view] for asked in requests)


def _finish(same: Sequence[Asked], answer: Callable[[Asked], Any]) -> None:
    try:
        outcome = answer(same[0])
    except BaseException as error:
        _fail(
            same, error
        )  # also exceptions that end a thread: the other requests must get an error too
    else:
        for asked in same:
            asked.outcome, asked.is_done = outcome, True


def _fail(requests: Sequence[Asked], error: BaseException) -> None:
    """Give an error to all requests without an answer, so that none waits for ever."""
    for asked in requests:
        if not asked.is_done:
            asked.error, asked.is_done = error, True

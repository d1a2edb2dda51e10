"""Who works out the answers of a season: one at a time, for all who wait.

Without turns, everybody who asks while trials arrive works out an answer of a moment of their own,
all at once, and each waits as long as all of them take. Here the first who waits begins a new round
for all: of one moment, which is newer than any of them asked for, so that what their answers have
in common is worked out once.
"""

import threading
from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any


@dataclass(eq=False, slots=True)
class Asked:
    """An answer that somebody waits for: what it is about, how to make it, what came of it."""

    subject: Hashable
    make: Callable[..., Any]
    #: Whose view of the season it is.
    view: Hashable = None
    outcome: Any = None
    error: BaseException | None = None
    is_done: bool = False

    def taken(self) -> Any:
        """Return the answer, or raise what went wrong."""
        if self.error is not None:
            raise self.error
        return self.outcome


#: Opens a moment, and gives what works out an answer at it.
Moment = Callable[[], AbstractContextManager[Callable[[Asked], Any]]]


class SeasonQueue:
    """Who waits for answers of one database's seasons."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._waiting: dict[str, list[Asked]] = {}
        self._working: dict[str, int] = {}
        #: For each season's views, which of them was served after which.
        self._served: dict[str, Counter[Hashable]] = {}

    @property
    def is_working(self) -> bool:
        """Tell whether answers of any season are being worked out."""
        return bool(self._working)

    def is_mine(self, season_id: str) -> bool:
        """Tell whether this thread is the one that works out answers of a season."""
        return self._working.get(season_id) == threading.get_ident()

    def wait(self, season_id: str, asked: Asked, moment: Moment) -> None:
        """Return when what is asked is done: by who works for all, or else by this thread."""
        with self._changed:
            self._waiting.setdefault(season_id, []).append(asked)
            self._changed.notify_all()  # another may be the last in turn now
        while together := self._taken(season_id, asked):
            try:
                self._do_all(season_id, together, moment)
            finally:
                with self._changed:
                    del self._working[season_id]
                    self._put_back(season_id, [each for each in together if not each.is_done])
                    self._changed.notify_all()

    def _taken(self, season_id: str, asked: Asked) -> list[Asked]:
        """Return all who wait if it is this thread's turn to work, or nobody once it is done."""
        with self._changed:
            self._changed.wait_for(lambda: asked.is_done or self._leads(season_id, asked))
            if asked.is_done:
                return []
            self._working[season_id] = threading.get_ident()
            return self._in_turn(season_id, self._waiting.pop(season_id))

    def _leads(self, season_id: str, asked: Asked) -> bool:
        """Tell whether this one begins the next round: the last in turn does.

        So nobody works on for others whose own answer is done.
        """
        if season_id in self._working:
            return False
        return self._in_turn(season_id, self._waiting[season_id])[-1] is asked

    def _in_turn(self, season_id: str, together: Sequence[Asked]) -> list[Asked]:
        """Return the first of each view, the view served least recently before others, and so on.

        So nobody who asks for many answers goes before everybody else.
        """
        served = self._served.setdefault(season_id, Counter())
        of_view = Counter[Hashable]()
        turns = []
        for asked in together:
            turns.append((of_view[asked.view], served[asked.view]))
            of_view[asked.view] += 1
        return [together[at] for at in sorted(range(len(together)), key=lambda at: turns[at])]

    def _put_back(self, season_id: str, left: Sequence[Asked]) -> None:
        """Let those wait on whom a round was ended before."""
        if left:
            self._waiting[season_id] = [*left, *self._waiting.get(season_id, [])]
        if season_id not in self._waiting:
            self._served.pop(season_id, None)

    def _do_all(self, season_id: str, together: Sequence[Asked], moment: Moment) -> None:
        """Work out answers at one moment, each once for all who asked for it.

        It ends early if somebody waits meanwhile whose view was served less recently.
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
        """Let those go whose answer is done; tell whether a less recently served view waits."""
        with self._changed:
            self._changed.notify_all()
            served = self._served[season_id]
            served[view] = max(served.values(), default=0) + 1
            waiting = self._waiting.get(season_id, [])
            return any(served[asked.view] < served[view] for asked in waiting)


def _finish(same: Sequence[Asked], answer: Callable[[Asked], Any]) -> None:
    try:
        outcome = answer(same[0])
    except BaseException as error:
        _fail(same, error)  # also what ends a thread: it must not end the others' answers
    else:
        for asked in same:
            asked.outcome, asked.is_done = outcome, True


def _fail(some: Sequence[Asked], error: BaseException) -> None:
    """Give an error to all who are still without an answer: none is left waiting."""
    for asked in some:
        if not asked.is_done:
            asked.error, asked.is_done = error, True

"""Whose turn it is to compute an answer: one at a time, and the newest asked for serves all.

Without turns, everybody who asks while trials arrive computes an answer of a moment of their own,
all at once, and each waits as long as all of them take.
"""

import threading
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager


class SeasonQueue:
    """Who waits to compute answers of one database's seasons."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        #: By season and subject the revisions that somebody waits for, the first to wait first.
        self._waiting: dict[Hashable, dict[Hashable, list[int]]] = {}
        self._computing: dict[Hashable, int] = {}

    def is_mine(self, season_id: Hashable) -> bool:
        """Tell whether this thread is the one that computes for a season."""
        return self._computing.get(season_id) == threading.get_ident()

    @contextmanager
    def wait(
        self, season_id: Hashable, subject: Hashable, revision: int, is_served: Callable[[], bool]
    ) -> Iterator[bool]:
        """Wait for a turn, or until somebody else's answer serves; give whether it is a turn.

        Subjects take turns; of those who wait for one subject the one with the newest revision
        computes, and its answer serves all others.
        """
        is_turn = self._enter(season_id, subject, revision, is_served)
        try:
            yield is_turn
        finally:
            if is_turn:
                with self._changed:
                    del self._computing[season_id]
                    self._changed.notify_all()

    def _enter(
        self, season_id: Hashable, subject: Hashable, revision: int, is_served: Callable[[], bool]
    ) -> bool:
        with self._changed:
            waiting = self._waiting.setdefault(season_id, {})
            waiting.setdefault(subject, []).append(revision)

            def is_next() -> bool:
                free, first = season_id not in self._computing, next(iter(waiting))
                return free and first == subject and revision == max(waiting[subject])

            self._changed.wait_for(lambda: is_served() or is_next())
            is_turn = is_next()
            self._leave(season_id, subject, revision)
            if not is_turn:
                self._changed.notify_all()  # somebody else may be next now
                return False
            self._computing[season_id] = threading.get_ident()
            return True

    def _leave(self, season_id: Hashable, subject: Hashable, revision: int) -> None:
        """Wait no longer; others who wait for the subject do so behind other subjects."""
        waiting = self._waiting[season_id]
        waiting[subject].remove(revision)
        others = waiting.pop(subject)
        if others:
            waiting[subject] = others
        if not waiting:
            del self._waiting[season_id]

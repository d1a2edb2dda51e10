"""Make answers of large seasons again in the background, at a pace that their cost allows."""

import logging
import threading
import time
from collections import defaultdict
from collections.abc import Hashable, Sequence

from api.many_rows import parts
from api.services.core.computing import Asked, Moment, SeasonQueue

#: A season's answers are made again after this many times as long as making them takes. [-], [s]
PAUSES, LEAST_PAUSE_S, MOST_PAUSE_S = 4.0, 1.0, 30.0
TOGETHER = 8  # answers from one moment of the database, so that none is held open for long
log = logging.getLogger("gustbook")


class Refresher:
    """The answers of one database that are to be made again, by season."""

    def __init__(self, queue: SeasonQueue) -> None:
        self._queue = queue
        self._turn = threading.Lock()
        self._asked: defaultdict[str, dict[Hashable, Asked]] = defaultdict(dict)
        self._pause_s: dict[str, float] = {}
        self._running: set[str] = set()
        self._stopped = threading.Event()

    def ask(self, season_id: str, asked: Asked, moment: Moment) -> None:
        """Have an answer made again soon, once, however often it is asked for until then."""
        with self._turn:
            self._asked[season_id].setdefault(asked.subject, asked)
            if season_id in self._running:
                return
            self._running.add(season_id)
        try:
            threading.Thread(target=self._work, args=(season_id, moment), daemon=True).start()
        except RuntimeError as error:  # there are too many threads: the next request tries again
            log.warning("answers of season %s are not made again now: %s", season_id, error)
            self._end(season_id)

    def stop(self) -> None:
        """Make nothing any more; what is being made is finished."""
        self._stopped.set()

    def _work(self, season_id: str, moment: Moment) -> None:
        """Make what is asked for, until nothing is."""
        try:
            while together := self._next(season_id):
                started = time.monotonic()
                for part in parts(together, TOGETHER):
                    self._queue.run(season_id, part, moment)
                taken = time.monotonic() - started
                self._pause_s[season_id] = min(MOST_PAUSE_S, max(LEAST_PAUSE_S, PAUSES * taken))
                self._settle(season_id, together)
        except Exception:
            self._end(season_id)  # otherwise the season would never be made again
            raise

    def _next(self, season_id: str) -> list[Asked]:
        """Wait for the season's pause, and return what was asked for until then."""
        if self._stopped.wait(self._pause_s.get(season_id, LEAST_PAUSE_S)):
            return []
        with self._turn:
            together = list(self._asked.pop(season_id, {}).values())
            if not together:
                self._running.discard(season_id)
        return together

    def _settle(self, season_id: str, together: Sequence[Asked]) -> None:
        """Ask again for what was not reached, and report what could not be made."""
        with self._turn:
            for asked in together:
                if not asked.is_done:
                    self._asked[season_id].setdefault(asked.subject, asked)
        for error in {repr(each.error) for each in together if each.error}:
            log.warning("an answer of season %s was not made again: %s", season_id, error)

    def _end(self, season_id: str) -> None:
        with self._turn:
            self._running.discard(season_id)

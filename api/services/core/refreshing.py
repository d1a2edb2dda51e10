"""Make answers of large seasons again in the background, at a pace that their cost allows."""

import logging
import threading
import time
from collections import defaultdict
from collections.abc import Hashable

from api.services.core.computing import Asked, Moment, SeasonQueue

#: A season's answers are made again after this many times as long as making them takes. [-], [s]
PAUSES, LEAST_PAUSE_S, MOST_PAUSE_S = 4.0, 1.0, 30.0
log = logging.getLogger("gustbook")


class Refresher:
    """The answers of one database that are to be made again, by season."""

    def __init__(self, queue: SeasonQueue) -> None:
        self._queue = queue
        self._turn = threading.Lock()
        self._asked: defaultdict[str, dict[Hashable, Asked]] = defaultdict(dict)
        self._pause_s: dict[str, float] = {}
        self._running: set[str] = set()

    def ask(self, season_id: str, asked: Asked, moment: Moment) -> None:
        """Have an answer made again soon, once, however often it is asked for until then."""
        with self._turn:
            self._asked[season_id].setdefault(asked.subject, asked)
            if season_id in self._running:
                return
            self._running.add(season_id)
        work = threading.Thread(target=self._work, args=(season_id, moment), daemon=True)
        work.start()

    def _work(self, season_id: str, moment: Moment) -> None:
        """Make what is asked for, until nothing is."""
        while together := self._next(season_id):
            started = time.monotonic()
            self._queue.run(season_id, together, moment)
            taken = time.monotonic() - started
            with self._turn:
                pause = min(MOST_PAUSE_S, max(LEAST_PAUSE_S, PAUSES * taken))
                self._pause_s[season_id] = pause
            for error in {repr(each.error) for each in together if each.error}:
                log.warning("an answer of season %s was not made again: %s", season_id, error)

    def _next(self, season_id: str) -> list[Asked]:
        """Wait for the season's pause, and return what was asked for until then."""
        time.sleep(self._pause_s.get(season_id, LEAST_PAUSE_S))
        with self._turn:
            together = list(self._asked.pop(season_id, {}).values())
            if not together:
                self._running.discard(season_id)
        return together

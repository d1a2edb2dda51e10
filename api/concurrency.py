"""Limit concurrent work per key, serialise writes, and batch single trials that arrive together."""

from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass, field
from typing import Generic, TypeVar
from weakref import WeakValueDictionary

import anyio
import anyio.to_thread
from sqlalchemy.exc import OperationalError
from sqlalchemy.exc import TimeoutError as NoConnection

from api.services.core.scope import Caller

Work = TypeVar("Work")
Done = TypeVar("Done")

MOST_TOGETHER = 32
SIGN_INS_OF_NETWORK = 2  # at the same time, with a school account
FILES_AT_ONCE = 2  # read at the same time: a workbook takes a process of its own
BUSY = (OperationalError, NoConnection)
#: How long a write waits for answers in progress, and how often it looks. [s]
GIVE_WAY_S, LOOK_AGAIN_S = 0.3, 0.01


class KeyLimits:
    """Limits of the concurrent work of each key, so that it leaves room for others.

    The writes of a key queue among themselves first, so a key delays others by one turn at most.
    Its reads use half of the threads at most. Share links, which need no key, use a third of the
    threads together.
    """

    def __init__(self, threads: int) -> None:
        self._reads = max(1, threads // 2)
        #: Limits the requests of all visitors without a key together.
        self.without_key = anyio.Semaphore(max(1, threads // 3))
        self._files = anyio.Semaphore(FILES_AT_ONCE)
        self._reading_files: WeakValueDictionary[str, anyio.Lock] = WeakValueDictionary()
        self._writing: WeakValueDictionary[str, anyio.Lock] = WeakValueDictionary()
        self._reading: WeakValueDictionary[str, anyio.Semaphore] = WeakValueDictionary()
        self._trying: WeakValueDictionary[str, anyio.Lock] = WeakValueDictionary()
        self._signing_in: WeakValueDictionary[str, anyio.Semaphore] = WeakValueDictionary()

    def writing(self, caller: Caller) -> anyio.Lock:
        """Return the lock for the writes of a key."""
        return self._writing.setdefault(caller.key_id, anyio.Lock())

    @asynccontextmanager
    async def reading_file(self, caller: Caller) -> AsyncIterator[None]:
        """Limit concurrent reads of files: two in all, and one for each key."""
        async with self._reading_files.setdefault(caller.key_id, anyio.Lock()), self._files:
            yield

    def reading(self, caller: Caller) -> anyio.Semaphore:
        """Return the semaphore for the reads of a key."""
        return self._reading.setdefault(caller.key_id, anyio.Semaphore(self._reads))

    def trying(self, caller: Caller) -> anyio.Lock:
        """Return the lock for the test messages that a key sends to its webhooks."""
        return self._trying.setdefault(caller.key_id, anyio.Lock())

    def signing_in(self, network: str) -> anyio.Semaphore:
        """Return the semaphore for what a network lets us ask the provider of school accounts."""
        return self._signing_in.setdefault(network, anyio.Semaphore(SIGN_INS_OF_NETWORK))


class WriteTurns:
    """Limit concurrent writes, and let each wait briefly for answers in progress.

    A write and an answer about a season both need the interpreter, so together each takes twice as
    long. Several readers may wait for one answer, so it goes first, for a moment.
    """

    def __init__(self, at_once: int, is_computing: Callable[[], bool]) -> None:
        self.slots, self._is_computing = anyio.Semaphore(at_once), is_computing

    async def __aenter__(self) -> None:
        await self.slots.acquire()
        try:
            with anyio.move_on_after(GIVE_WAY_S):
                while self._is_computing():
                    await anyio.sleep(LOOK_AGAIN_S)
        except BaseException:
            self.slots.release()
            raise

    async def __aexit__(self, *error: object) -> None:
        self.slots.release()


@dataclass(eq=False, slots=True)
class _Waiting(Generic[Work, Done]):
    """A waiting work, with its outcome."""

    work: Work
    outcome: Done | Exception | None = None
    is_done: anyio.Event = field(default_factory=anyio.Event)


class WriteBatcher(Generic[Work, Done]):
    """Collects works that wait for a turn to write, and does those that fit together at once.

    Storing fifty trials takes little longer than storing one, so many requests are answered as
    quickly as they come. A work that fails does not affect the others.
    """

    def __init__(
        self,
        writers: AbstractAsyncContextManager[object],
        do: Callable[[Sequence[Work]], Sequence[Done | Exception]],
        go_together: Callable[[Work, Work], bool],
    ) -> None:
        self._writers, self._do, self._go_together = writers, do, go_together
        self._waiting: list[_Waiting[Work, Done]] = []

    async def done(self, work: Work, own_turn: anyio.Lock) -> Done:
        """Return the outcome of a work, done in its own turn or in that of an earlier one."""
        one: _Waiting[Work, Done] = _Waiting(work)
        self._waiting.append(one)
        try:
            async with anyio.create_task_group() as tasks:
                tasks.start_soon(self._take_turn, one, own_turn)
                await one.is_done.wait()
                tasks.cancel_scope.cancel()
        finally:
            if one in self._waiting:  # its request was cancelled
                self._waiting.remove(one)
        if isinstance(one.outcome, Exception):
            raise one.outcome
        return one.outcome  # type: ignore[return-value]  # a finished work has an outcome

    async def _take_turn(self, one: _Waiting[Work, Done], own_turn: anyio.Lock) -> None:
        async with own_turn, self._writers:
            if one in self._waiting:
                # The request of this turn may be cancelled; the others still need their outcomes.
                with anyio.CancelScope(shield=True):
                    await self._do_all(self._take(one))

    async def _do_all(self, together: Sequence[_Waiting[Work, Done]]) -> None:
        works = [each.work for each in together]
        outcomes: Sequence[Done | Exception]
        try:
            outcomes = await anyio.to_thread.run_sync(self._outcomes, works)
        except Exception as error:
            outcomes = [error] * len(works)
        for each, outcome in zip(together, outcomes, strict=True):
            each.outcome = outcome
            each.is_done.set()

    def _take(self, first: _Waiting[Work, Done]) -> list[_Waiting[Work, Done]]:
        """Remove a work and those that fit with it from the queue."""
        together = [first]
        for each in self._waiting:
            fits = (self._go_together(each.work, other.work) for other in together)
            if each is not first and len(together) < MOST_TOGETHER and all(fits):
                together.append(each)
        self._waiting = [each for each in self._waiting if each not in together]
        return together

    def _outcomes(self, works: Sequence[Work]) -> Sequence[Done | Exception]:
        """Do works together; if that fails, do each separately, so that each has its own error.

        If the database is busy for one of them, the rest fail too: each would wait as long.
        """
        done = self._attempt(works)
        if not isinstance(done, Exception):
            return done
        if len(works) == 1:
            return [done]
        outcomes: list[Done | Exception] = []
        for work in works:
            single = self._attempt([work])
            outcomes += [single] if isinstance(single, Exception) else single
            if isinstance(single, BUSY):
                return outcomes + [single] * (len(works) - len(outcomes))
        return outcomes

    def _attempt(self, works: Sequence[Work]) -> Sequence[Done | Exception] | Exception:
        try:
            done = self._do(works)
        except Exception as error:
            return error
        if len(done) != len(works):
            return RuntimeError("as many are done as were to do")
        return done

"""Send what is due, as long as the service runs: several receivers at once, each one in turn.

The database is asked in a thread of the sender's own, and only while nothing is being waited for.
"""

import logging
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from datetime import UTC, datetime
from typing import TypeVar

import anyio
import anyio.to_thread
from anyio.abc import TaskGroup
from sqlmodel import Session

from api import logs
from api.db import Database
from api.services.webhooks import attempts
from api.services.webhooks.attempts import Attempt
from api.services.webhooks.sending import Outcome, Webhooks
from api.webhook_hosts import address_of

Value = TypeVar("Value")

RECEIVERS_AT_ONCE = 8
#: How often the outbox is looked at, and how long to wait after the database failed. [s]
LOOK_EVERY_S, AFTER_FAULT_S = 1.0, 10.0
FORGET_EVERY_S = 3600.0


def _now() -> datetime:
    return datetime.now(UTC)


class Sender:
    """Sends the messages of a programme's webhooks."""

    def __init__(
        self,
        database: Database,
        writers: AbstractAsyncContextManager[object],
        webhooks: Webhooks,
        count: Callable[[str], None] | None = None,
        now: Callable[[], datetime] = _now,
    ) -> None:
        self._database, self._writers, self._webhooks = database, writers, webhooks
        self._count, self._now = count, now
        self._busy: set[str] = set()
        #: The number of each webhook's last message, counted over all of this sender's.
        self._begun: dict[str, int] = {}
        self._count_begun = 0
        # The turn first: nobody may have a writer's turn and wait for the thread.
        self._turn, self._thread = anyio.Lock(), anyio.CapacityLimiter(1)
        self._is_free = anyio.Event()
        self._forget_at = -FORGET_EVERY_S

    async def run(self) -> None:
        """Send what is due, until cancelled."""
        async with anyio.create_task_group() as tasks:
            while True:
                self._is_free = anyio.Event()
                try:
                    is_more = await self.send_due(tasks)
                    await self._forget()
                except Exception as error:
                    _log_fault(error)
                    await anyio.sleep(AFTER_FAULT_S)
                    continue
                if not is_more:
                    await self._rest()

    async def send_due(self, tasks: TaskGroup) -> bool:
        """Begin to send what is due to receivers that are not busy; tell whether there was any."""
        free = RECEIVERS_AT_ONCE - len(self._busy)
        if free <= 0:
            return False
        busy, begun = sorted(self._busy), self._begun.copy()  # they change while a thread reads
        wanted = await self._read(lambda db: attempts.due(db, self._now(), free, busy, begun))
        if not wanted:
            return False
        taken = await self._write(lambda db: attempts.take(db, self._now(), wanted))
        for attempt in taken:
            self._busy.add(attempt.webhook_id)
            self._count_begun += 1
            self._begun[attempt.webhook_id] = self._count_begun
            tasks.start_soon(self._send, attempt)
        return bool(taken)

    async def _send(self, attempt: Attempt) -> None:
        try:
            outcome = await self._outcome(attempt)
            state = await self._write(lambda db: attempts.settle(db, attempt, outcome, self._now()))
            if self._count:
                self._count(state)
        except Exception as error:
            _log_fault(error)  # the message is due again once its lease is over
        finally:
            self._busy.discard(attempt.webhook_id)
            self._is_free.set()

    async def _outcome(self, attempt: Attempt) -> Outcome:
        """Send a message if the operator still allows its host."""
        address = address_of(attempt.url)
        if address is None or not address.is_among(self._webhooks.hosts):
            return Outcome(fault="host")
        return await self._webhooks.client.send(
            attempt.url, attempt.secret, attempt.message_id, attempt.body
        )

    async def _rest(self) -> None:
        """Wait for a receiver to become free, or for the next look."""
        with anyio.move_on_after(LOOK_EVERY_S):
            await self._is_free.wait()

    async def _forget(self) -> None:
        if anyio.current_time() - self._forget_at >= FORGET_EVERY_S:
            await self._write(lambda db: attempts.forget(db, self._now()))
            self._forget_at = anyio.current_time()

    async def _read(self, look: Callable[[Session], Value]) -> Value:
        def reading() -> Value:
            with self._database.reading() as db:
                return look(db)

        async with self._turn:
            return await anyio.to_thread.run_sync(reading, limiter=self._thread)

    async def _write(self, change: Callable[[Session], Value]) -> Value:
        """Make a short change in its turn among all writers."""

        def writing() -> Value:
            with self._database.unit_of_work() as db:
                return change(db)

        async with self._turn, self._writers:
            return await anyio.to_thread.run_sync(writing, limiter=self._thread)


def _log_fault(error: Exception) -> None:
    """Log that nothing could be sent; the service goes on without its webhooks."""
    logging.getLogger(logs.LOGGER).error("webhooks failed", exc_info=error)

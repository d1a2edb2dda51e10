"""Limit request bodies: bytes per operation, bytes in memory at once, and time to arrive.

A body is read only after its key was checked. Small bodies have no other limit. Large ones are read
one at a time for each key, and only while all of them together fit into memory.
"""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from weakref import WeakValueDictionary

import anyio
from starlette.middleware.body_limit import MAX_BODY_SIZE_SCOPE_KEY
from starlette.requests import Request

from api.errors import Busy, TooSlow
from api.messages import say

#: Most operations send one thing with its facts.
ONE_THING_BYTES = 100_000
#: A trial may have logged series, and a form may have a sheet of pasted cells.
SERIES_BYTES, FORM_BYTES = 2_000_000, 1_000_000
#: Several things of one kind have their facts, and no series.
BATCH_BYTES = 1_000_000
#: How many of the largest bodies fit into memory together, and how long one waits for room. [s]
LARGEST_TOGETHER, PATIENCE_S = 4, 20
#: Time for a body to arrive: a start, and a rate that a poor mobile network reaches.
START_S, SLOWEST_BYTES_PER_S = 30, 20_000


def announced_bytes(request: Request) -> int:
    """Return the announced size of a body, or the largest allowed size without one."""
    most: int = request.scope.get(MAX_BODY_SIZE_SCOPE_KEY, ONE_THING_BYTES)
    length = request.headers.get("content-length", "")
    return min(int(length), most) if length.isdecimal() else most


@asynccontextmanager
async def received(request: Request, key_id: str) -> AsyncIterator[None]:
    """Receive a request's body, and reserve memory for it while the request runs.

    Raise `Busy` if no memory gets free in time, and `TooSlow` if the body does not arrive in time.
    """
    byte_count = announced_bytes(request)
    room: BodyRoom = request.app.state.body_room
    async with room.room(key_id, byte_count):
        await _arrive(request, START_S + byte_count / SLOWEST_BYTES_PER_S)
        yield


async def _arrive(request: Request, within_s: float) -> None:
    try:
        with anyio.fail_after(within_s):
            await request.body()
    except TimeoutError as error:
        raise TooSlow(say("import_body.slow", seconds=within_s)) from error


class BodyRoom:
    """The memory that large bodies share."""

    def __init__(self, largest_bytes: int, wait_s: float = PATIENCE_S) -> None:
        self._free_bytes, self._wait_s = LARGEST_TOGETHER * largest_bytes, wait_s
        self._freed = anyio.Condition()
        self._of_key: WeakValueDictionary[str, anyio.Lock] = WeakValueDictionary()

    @asynccontextmanager
    async def room(self, key_id: str, byte_count: int) -> AsyncIterator[None]:
        """Reserve memory for a body; raise `Busy` if none gets free in time."""
        if byte_count <= ONE_THING_BYTES:
            yield
            return
        async with self._of_key.setdefault(key_id, anyio.Lock()):
            await self._take(byte_count)
            try:
                yield
            finally:
                with anyio.CancelScope(shield=True):
                    await self._give_back(byte_count)

    async def _take(self, byte_count: int) -> None:
        try:
            with anyio.fail_after(self._wait_s):
                async with self._freed:
                    while self._free_bytes < byte_count:
                        await self._freed.wait()
                    self._free_bytes -= byte_count
        except TimeoutError as error:
            raise Busy(say("import_body.busy")) from error

    async def _give_back(self, byte_count: int) -> None:
        async with self._freed:
            self._free_bytes += byte_count
            self._freed.notify_all()

"""Limit the time for the head of a request: the server closes connections that never end it."""

import asyncio

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

#: A head is a few kilobytes: it takes a phone on a poor network a second or two. [s]
HEAD_WITHIN_S = 20


class PatientProtocol(H11Protocol):
    """The server's protocol, with a limit on the time from the first byte of a head to its end."""

    _head_timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first head."""
        super().connection_made(transport)
        self._wait_for_head()

    def data_received(self, data: bytes) -> None:
        """Receive data; stop the timer if it ends a head, and start it if it begins one."""
        super().data_received(data)
        if self.conn.their_state is not h11.IDLE:
            self._stop_waiting()
        elif self._head_timer is None:
            self._wait_for_head()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._stop_waiting()
        super().connection_lost(exc)

    def _wait_for_head(self) -> None:
        self._head_timer = self.loop.call_later(HEAD_WITHIN_S, self._give_up)

    def _stop_waiting(self) -> None:
        if self._head_timer is not None:
            self._head_timer.cancel()
            self._head_timer = None

    def _give_up(self) -> None:
        """Close the connection, unless it is idle between two requests."""
        self._head_timer = None
        is_idle = self.cycle is not None and not self.conn.trailing_data[0]
        if self.conn.their_state is h11.IDLE and not is_idle:
            self.transport.close()

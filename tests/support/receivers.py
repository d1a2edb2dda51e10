"""A receiver of webhooks: a real HTTP server on a port of this machine."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from standardwebhooks import Webhook


@dataclass(frozen=True)
class Received:
    """One request as it came."""

    path: str
    headers: dict[str, str]
    body: bytes

    def verified(self, secret: str) -> Any:
        """Return the message, if its signature is right by the library that receivers use."""
        return Webhook(secret).verify(self.body, self.headers)


@dataclass
class Receiver:
    """What a receiver answers, and what it has received."""

    port: int = 0
    status: int = 204
    headers: dict[str, str] = field(default_factory=dict)
    #: How long it takes to answer. [s]
    delay_s: float = 0.0
    received: list[Received] = field(default_factory=list)
    #: What to do while the sender waits for the answer.
    meanwhile: Callable[[], None] = lambda: None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/hook"

    def wait_for(self, count: int, within_s: float = 10.0) -> list[Received]:
        """Return what was received, once it is so many."""
        until = time.monotonic() + within_s
        while len(self.received) < count:
            assert time.monotonic() < until, f"received {len(self.received)} of {count}"
            time.sleep(0.01)
        return self.received


@contextmanager
def receiving(port: int = 0) -> Iterator[Receiver]:
    """Run a receiver, on a free port if none is given."""
    receiver = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["content-length"]))
            receiver.received.append(Received(self.path, dict(self.headers), body))
            time.sleep(receiver.delay_s)
            receiver.meanwhile()
            self.send_response(receiver.status)
            for name, value in receiver.headers.items():
                self.send_header(name, value)
            self.end_headers()
            # More than anyone should read: a sender that reads bodies never ends.
            while receiver.headers.get("X-Endless") and not self._is_written():
                pass

        def _is_written(self) -> bool:
            try:
                self.wfile.write(b"x" * 10_000)
            except OSError:
                return True
            return False

        def log_message(self, *_: Any) -> None:
            """Write no log."""

    with ThreadingHTTPServer(("127.0.0.1", port), Handler) as server:
        receiver.port = server.server_address[1]
        serving = threading.Thread(target=server.serve_forever, args=(0.02,))
        serving.start()
        try:
            yield receiver
        finally:
            server.shutdown()
            serving.join()

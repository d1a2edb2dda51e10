"""Send hostile bodies to a real service with a school, and measure answer, time and memory."""

import socket
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import httpx

from tests.support.makers import make_world
from tests.support.service import Service


@dataclass(frozen=True)
class Reply:
    """An answer: its status, whether it is a problem, and how long it took."""

    status: int
    is_problem: bool
    seconds: float
    text: str


class Visit:
    """A coach's connection to a running service."""

    def __init__(self, service: Service, key: str, client: httpx.Client) -> None:
        self.service, self.key, self.client = service, key, client
        self.before = self.memory_bytes()

    def send(
        self, kind: str, body: bytes | Iterator[bytes], headers: dict[str, str] | None = None
    ) -> Reply:
        """Send a body to the imports."""
        started = time.perf_counter()
        answer = self.client.post(
            "/v1/imports", content=body, headers={"Content-Type": kind} | (headers or {})
        )
        seconds = time.perf_counter() - started
        kind = answer.headers.get("content-type", "")
        return Reply(
            answer.status_code, kind == "application/problem+json", seconds, answer.text[:300]
        )

    def announce(self, kind: str, length: int) -> Reply:
        """Send the length of a body without the body, so that the only answer is a refusal."""
        address = urlsplit(self.service.url)
        started = time.perf_counter()
        with socket.create_connection((address.hostname, address.port), timeout=5) as line:
            line.sendall(
                f"POST /v1/imports HTTP/1.1\r\nHost: {address.netloc}\r\nContent-Type: {kind}\r\n"
                f"Authorization: Bearer {self.key}\r\nContent-Length: {length}\r\n\r\n".encode()
            )
            text = line.recv(65_536).decode()
        seconds = time.perf_counter() - started
        return Reply(int(text.split()[1]), "application/problem+json" in text, seconds, text[:300])

    def memory_bytes(self) -> int:
        """Return the memory that the service uses now (Linux, proc(5): VmRSS)."""
        return self._status("VmRSS")

    def growth_bytes(self) -> int:
        """Return the peak of the service's memory above its value at the start (VmHWM)."""
        return self._status("VmHWM") - self.before

    def _status(self, name: str) -> int:
        text = Path(f"/proc/{self.service.process.pid}/status").read_text(encoding="ascii")
        line = next(line for line in text.splitlines() if line.startswith(f"{name}:"))
        return int(line.split()[1]) * 1024

    def is_alive(self) -> bool:
        """Tell whether the service still answers."""
        return httpx.get(f"{self.service.url}/readyz", timeout=5).status_code == 200


@contextmanager
def visiting(folder: Path, settings: dict[str, str] | None = None) -> Iterator[Visit]:
    """Start a service with a school in it, and stop it afterwards."""
    with ExitStack() as stack:
        service = Service(folder, **settings or {})
        stack.callback(service.kill)

        def sign(key: str) -> httpx.Client:
            client: httpx.Client = stack.enter_context(service.client(key))
            return client

        key = make_world(service.lead_key(), sign).larch.coach_key
        yield Visit(service, key, sign(key))

"""Run services side by side on ports of their own, and a client with little overhead."""

import http.client
import json
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

from tests.bench.filled import folder, season_url
from tests.support.programs import ROOT
from tests.support.service import FreshService, Service

#: Settings that lift the limits of one key, which would slow a measurement down.
UNLIMITED = {"GUSTBOOK_REQUESTS_PER_MINUTE": "1000000", "GUSTBOOK_IMPORTS_PER_DAY": "100000",
             "GUSTBOOK_MAX_IMPORT_ROWS": "1000000", "GUSTBOOK_MAX_BODY_BYTES": "100000000",
             "GUSTBOOK_PLAIN_HTTP_PAGES": "1", "GUSTBOOK_LOG_LEVEL": "error"}  # fmt: skip


class Plain(FreshService):
    """The plain service, run as ours is."""

    PROGRAM = ("-m", "uvicorn", "tests.bench.peers.plain_routes:app", "--no-access-log")


@contextmanager
def ours(database_url: str) -> Iterator[tuple[Service, str]]:
    """Give our service over a database, and a lead's key."""
    service = FreshService(folder(), database_url, **UNLIMITED)
    process = service.run("-m", "api", "key", "create", "--role", "lead", "--label", "bench")
    try:
        yield service, process.stdout.strip()
    finally:
        service.kill()


def copied(scale: str) -> str:
    """Return the address of a copy of a season's database, which may be written to."""
    source = season_url(scale).removeprefix("sqlite:///")
    copy = folder() / f"{scale}-{time.monotonic_ns()}.db"
    shutil.copyfile(source, copy)
    return f"sqlite:///{copy}"


@contextmanager
def plain(database_url: str) -> Iterator[str]:
    """Give the plain service over an empty database; the address it answers at."""
    service = Plain(folder(), PLAIN_DATABASE_URL=database_url)
    try:
        yield service.url
    finally:
        service.kill()


#: The service closes a connection that was idle for longer. [s]
IDLE_S = 4.0


class Client:
    """One persistent connection that sends requests and reads complete answers."""

    def __init__(self, url: str, key: str = "") -> None:
        where = urlsplit(url)
        self._connection = http.client.HTTPConnection(where.hostname, where.port, timeout=900)
        self._headers = {"Authorization": f"Bearer {key}"} if key else {}
        self._answered_at = time.monotonic()

    def ask(self, method: str, path: str, body: object = None, kind: str = "") -> bytes:
        """Send a request and return the answer's body; an error stops the measurement."""
        headers = self._headers | {"Content-Type": kind or "application/json"}
        data = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
        if time.monotonic() - self._answered_at > IDLE_S:
            self._connection.close()  # it is opened again by the next request
        self._connection.request(method, path, data, headers if data else self._headers)
        answer = self._connection.getresponse()
        text = answer.read()
        self._answered_at = time.monotonic()
        if answer.status >= 400:
            raise AssertionError(f"{method} {path}: {answer.status} {text[:300]!r}")
        return text


def peak_mb(service: Service) -> float:
    """Return the most memory that a service has held."""
    status = Path(f"/proc/{service.process.pid}/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1000


def in_a_process(code: str, *arguments: str) -> dict:
    """Return the JSON output of a new process."""
    done = subprocess.run([sys.executable, "-c", code, *arguments], cwd=ROOT, check=True,
                          capture_output=True, text=True)  # fmt: skip
    figures: dict = json.loads(done.stdout)
    return figures

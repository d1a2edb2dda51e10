"""Measure a cold start to the first answer, and the memory of an idle service."""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import httpx

from api.migrate import upgrade
from tests.bench.timing import REPEATS, Row
from tests.support.service import Service

ROOT = Path(__file__).parents[2]
MOST_IDLE_MB = 110.0


def started(command: list[str], environment: dict[str, str]) -> tuple[float, float]:
    """Return the seconds to the first answer, and the resident megabytes then."""
    port = Service.free_port()
    begun = time.perf_counter()
    process = subprocess.Popen([*command, "--port", str(port)], cwd=ROOT, env=environment,
                               stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)  # fmt: skip
    try:
        while True:
            try:
                httpx.get(f"http://127.0.0.1:{port}/healthz", timeout=5).raise_for_status()
                break
            except httpx.TransportError:
                time.sleep(0.005)
        taken = time.perf_counter() - begun
        pages = int(Path(f"/proc/{process.pid}/statm").read_text().split()[1])
        return taken, pages * os.sysconf("SC_PAGE_SIZE") / 1e6
    finally:
        process.kill()
        process.wait()


def rows(scale: str) -> Iterator[Row]:
    """Yield ours, with an existing database, against a service of one route."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{folder}/bench.db"
        upgrade(url)
        # As a service that was started here before: what Python compiled then is there.
        compiled = {"PYTHONDONTWRITEBYTECODE": "", "PYTHONPYCACHEPREFIX": f"{folder}/compiled"}
        environment = os.environ | compiled | {"GUSTBOOK_DATABASE_URL": url}
        ours, peer, memory = [], [], []
        for _ in range(REPEATS + 1):
            seconds, megabytes = started([sys.executable, "-m", "api", "serve"], environment)
            ours.append(seconds)
            memory.append(megabytes)
            one = [sys.executable, "-m", "uvicorn", "tests.bench.peers.one_route:app"]
            peer.append(started(one, environment)[0])
    work = "cold start to the first answer"
    yield Row(work, statistics.median(ours[1:]), "one-route FastAPI",
              statistics.median(peer[1:]), 3.0)  # fmt: skip
    idle = statistics.median(memory)
    yield Row("idle memory", idle, "most", MOST_IDLE_MB, 1.0, unit="MB")

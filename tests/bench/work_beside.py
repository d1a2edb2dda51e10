"""Measure small requests while the report of a complete season is made for the first time."""

import threading
import time
from collections.abc import Iterator

from tests.bench.filled import SEASON
from tests.bench.serving import Client, copied, ours
from tests.bench.timing import Row

SMALL, ALONE_S, PAUSE_S = f"/v1/seasons/{SEASON}", 10.0, 0.01


def rows(scale: str) -> Iterator[Row]:
    """Yield the slowest hundredth of small requests, with and without a cold report."""
    with ours(copied(scale)) as (service, key):
        client = Client(service.url, key)
        for _ in range(50):
            client.ask("GET", SMALL)
        until = time.perf_counter() + ALONE_S
        alone = _asked(client, lambda: time.perf_counter() < until)
        report = threading.Thread(
            target=Client(service.url, key).ask, args=("GET", f"/v1/seasons/{SEASON}/report")
        )
        report.start()
        beside = _asked(client, report.is_alive)
        report.join()
    goal = 2 if scale == "country" else None
    work = f"{len(beside)} small requests beside a cold report, {scale}, p99"
    yield Row(work, _slowest(beside), "alone", _slowest(alone), goal)


def _asked(client: Client, go_on) -> list[float]:
    taken = []
    while go_on():
        started = time.perf_counter()
        client.ask("GET", SMALL)
        taken.append(time.perf_counter() - started)
        time.sleep(PAUSE_S)
    return taken


def _slowest(taken: list[float]) -> float:
    return sorted(taken)[int(0.99 * len(taken))]

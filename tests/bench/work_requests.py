"""Measure single requests: a page of fifty trials, one trial, and 64 clients that send trials."""

import statistics
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from itertools import count
from typing import Any

from tests.bench.filled import folder, public_id
from tests.bench.serving import Client, copied, ours, plain
from tests.bench.timing import Row

REQUESTS, ROUNDS, CLIENTS, SENT_AT_ONCE = 40, 5, 64, 512
numbers = count()


def sent() -> dict[str, Any]:
    """Return a trial that nobody sent before, at one of the club's benches."""
    number = next(numbers)
    volts = 1.15 + number * 7 % 100 / 1000
    return {
        "session_id": public_id("ses", number % 120), "kind": "record", "load_ohm": 30.1,
        "build_id": public_id("bld", number % 120 // 20 * 25), "load_connected": True,
        "client_ref": f"bench-{number}", "pitch_deg": number % 30, "meter_range_v": 2.0,
        "runs": [{"voltage_v": volts + at / 1000, "duration_s": 30} for at in range(3)],
    }  # fmt: skip


def flat() -> dict[str, Any]:
    """Return the same for the plain service."""
    trial = sent()
    volts = {f"voltage_{at}_v": run["voltage_v"] for at, run in enumerate(trial.pop("runs"), 1)}
    return trial | volts


def rows(scale: str) -> Iterator[Row]:
    """Yield medians of a client's requests, and the time of many clients' trials."""
    with (
        ours(copied("club")) as (service, key),
        plain(f"sqlite:///{folder()}/plain.db") as plain_url,
    ):
        mine, theirs = Client(service.url, key), Client(plain_url)
        for _ in range(200):
            theirs.ask("POST", "/trials", flat())
        taken = medians({
            "page": lambda: mine.ask("GET", "/v1/trials?limit=50"),
            "hello": lambda: theirs.ask("GET", "/hello"),
            "their page": lambda: theirs.ask("GET", "/trials?limit=50"),
            "post": lambda: mine.ask("POST", "/v1/trials", sent()),
            "validate": lambda: theirs.ask("POST", "/validate", sent()),
        })  # fmt: skip
        yield Row("page of 50 trials with results", taken["page"], "async hello", taken["hello"], 7)
        yield Row("page of 50 trials with results", taken["page"], "plain route",
                  taken["their page"], 1.5, at_least=True)  # fmt: skip
        yield Row("one trial stored", taken["post"], "validated only", taken["validate"], 18)
        many = [_at_once(service.url, key, "/v1/trials", sent) for _ in range(2)]
        plainly = [_at_once(plain_url, "", "/trials", flat) for _ in range(2)]
        yield Row(f"{SENT_AT_ONCE} trials from {CLIENTS} clients", min(many), "plain route",
                  min(plainly), 2, at_least=True)  # fmt: skip


def medians(works: dict[str, Callable[[], object]]) -> dict[str, float]:
    """Return the median seconds of single requests, some of each in every round."""
    taken: dict[str, list[float]] = {name: [] for name in works}
    for at in range(ROUNDS + 1):
        for name, work in works.items():
            for _ in range(REQUESTS):
                started = time.perf_counter()
                work()
                if at:  # the first round warms up
                    taken[name].append(time.perf_counter() - started)
    return {name: statistics.median(times) for name, times in taken.items()}


def _at_once(url: str, key: str, path: str, body: Callable[[], object]) -> float:
    """Return the seconds until many clients have sent their trials."""

    def one(_: int) -> None:
        client = Client(url, key)
        for _ in range(SENT_AT_ONCE // CLIENTS):
            client.ask("POST", path, body())

    started = time.perf_counter()
    with ThreadPoolExecutor(CLIENTS) as pool:
        list(pool.map(one, range(CLIENTS)))
    return time.perf_counter() - started

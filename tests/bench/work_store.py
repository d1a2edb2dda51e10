"""Measure one trial stored at benches with few trials and with many."""

from collections.abc import Iterator
from contextlib import ExitStack
from functools import partial
from itertools import count
from typing import Any

from sqlalchemy import create_engine

from api.migrate import upgrade
from tests.bench.columns import BUILDS, SESSIONS, TEAMS_OF_A_BENCH
from tests.bench.filled import fill, folder, public_id
from tests.bench.serving import Client, ours, plain
from tests.bench.timing import Row
from tests.bench.work_requests import medians

FEW, OTHERS = 100, (500, 2_000, 5_000)  # trials on the bench
numbers = count()


def rows(scale: str) -> Iterator[Row]:
    """Yield the median of a stored trial with many trials on its bench, against few."""
    with ExitStack() as running:
        url = running.enter_context(plain(f"sqlite:///{folder()}/store.db"))
        works = {"validate": partial(Client(url).ask, "POST", "/validate", _sent())}
        for trials in (FEW, *OTHERS):
            service, key = running.enter_context(ours(_one_bench(trials)))
            works[str(trials)] = partial(_store, Client(service.url, key))
        taken = medians(works)
    few = taken[str(FEW)]
    for trials in OTHERS:
        goal = 1.3 if trials == OTHERS[-1] else None
        yield Row(f"one trial stored, {trials:,} on its bench", taken[str(trials)],
                  f"{FEW} on its bench", few, goal)  # fmt: skip
    yield Row("one trial stored, 5,000 on its bench", taken["5000"],
              "validated only", taken["validate"], 18)  # fmt: skip


def _store(client: Client) -> None:
    client.ask("POST", "/v1/trials", _sent())


def _sent() -> dict[str, Any]:
    """Return a trial of a team's newest build, in the bench's latest session."""
    number = next(numbers)
    volts = 1.15 + number * 7 % 100 / 1000
    newest = BUILDS * (number % TEAMS_OF_A_BENCH) + BUILDS - 1
    return {
        "session_id": public_id("ses", SESSIONS - 1), "kind": "record", "load_ohm": 30.1,
        "build_id": public_id("bld", newest), "load_connected": True,
        "client_ref": f"store-{number}", "pitch_deg": number % 30, "meter_range_v": 2.0,
        "runs": [{"voltage_v": volts + at / 1000, "duration_s": 30} for at in range(3)],
    }  # fmt: skip


def _one_bench(trials: int) -> str:
    """Return the address of a database with so many trials at one bench."""
    path = folder() / f"one-bench-{trials}.db"
    url = f"sqlite:///{path}"
    upgrade(url)
    engine = create_engine(url)
    with engine.begin() as connection:
        fill(connection, trials, TEAMS_OF_A_BENCH)
    engine.dispose()
    return url

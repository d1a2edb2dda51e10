"""Measure reading while somebody writes: answers after one write, six readers beside a writer."""

import json
import statistics
import threading
import time
from collections.abc import Iterator
from itertools import count
from typing import Any

from tests.bench.columns import SCALES, TEAMS_OF_A_BENCH
from tests.bench.filled import SEASON, public_id
from tests.bench.serving import Client, copied, ours, peak_mb
from tests.bench.timing import Row

READERS, SECONDS, WRITE_EVERY_S, WRITES = 6, 10.0, 1.0, 5
KEPT = {"club": 0.5, "region": 0.5, "country": 0.3}
#: What a user asks for after a write of somebody else.
ANSWERS = {
    "a school's report": f"/v1/organisations/{public_id('org', 1)}/report?season_id={SEASON}",
    "a team's page": f"/v1/teams/{public_id('team', 7)}/report",
    "the comparison": f"/v1/seasons/{SEASON}/comparison",
}
numbers = count()


def trial_of(school: int) -> dict[str, Any]:
    """Return a trial that nobody sent before, at the school's bench."""
    number = next(numbers)
    return {
        "session_id": public_id("ses", 20 * school), "kind": "record", "load_ohm": 30.1,
        "build_id": public_id("bld", school * TEAMS_OF_A_BENCH * 5), "load_connected": True,
        "client_ref": f"reading-{number}", "pitch_deg": number % 30, "meter_range_v": 2.0,
        "runs": [{"voltage_v": 1.15 + number % 97 / 1000 + at / 1000, "duration_s": 30}
                 for at in range(3)],
    }  # fmt: skip


def rows(scale: str) -> Iterator[Row]:
    """Yield times after one write against those at club size, and reads a second beside writes."""
    at_club = after_a_write("club")
    here = at_club if scale == "club" else after_a_write(scale)
    for name in here:
        goal = None if scale == "club" else 3
        yield Row(f"{name} after one write, {scale}", here[name], "the same at club size",
                  at_club[name], goal)  # fmt: skip
    with ours(copied(scale)) as (service, key):
        quiet = reads_a_second(service.url, key, scale, writes=False)
        beside = reads_a_second(service.url, key, scale, writes=True)
        yield Row(f"{beside:.0f} reads a second beside a write a second, {scale}", 1 / beside,
                  f"{quiet:.0f} without", 1 / quiet, KEPT.get(scale), at_least=True)  # fmt: skip
        yield Row(f"six readers and a writer, {scale}, at most", peak_mb(service), "most", 600, 1,
                  unit="MB")  # fmt: skip


def after_a_write(scale: str) -> dict[str, float]:
    """Return the median seconds of each answer after a write of another school.

    The coach of the answer's school sees others' trials as published; the lead is the one who
    wrote, and waits for the newest answer.
    """
    with ours(copied(scale)) as (service, key):
        lead, coach = (Client(service.url, each) for each in (key, coach_key(service.url, key, 1)))
        readers = {"its coach": coach, "the lead who wrote": lead}
        asked = [
            (f"{name}, to {whom}", client, path)
            for name, path in ANSWERS.items()
            for whom, client in readers.items()
        ]
        for _, client, path in asked:
            client.ask("GET", path)
        taken: dict[str, list[float]] = {name: [] for name, _, _ in asked}
        for _ in range(WRITES):
            for name, client, path in asked:
                lead.ask("POST", "/v1/trials", trial_of(0))
                started = time.perf_counter()
                client.ask("GET", path)
                taken[name].append(time.perf_counter() - started)
    return {name: statistics.median(times) for name, times in taken.items()}


def other_key(url: str, key: str) -> str:
    """Return the key of another lead: a writer waits for the newest answer, the readers do not."""
    return _key(url, key, label="writer", role="lead", organisation_ids=[])


def coach_key(url: str, key: str, school: int) -> str:
    """Return the key of a school's coach."""
    return _key(url, key, label="coach", role="coach", organisation_ids=[public_id("org", school)])


def _key(url: str, key: str, **asked: Any) -> str:
    made: str = json.loads(Client(url, key).ask("POST", "/v1/keys", asked))["key"]
    return made


def reads_a_second(url: str, key: str, scale: str, *, writes: bool) -> float:
    """Return how many reports six readers of six schools get a second."""
    schools = -(-SCALES[scale][1] // TEAMS_OF_A_BENCH)
    paths = [
        f"/v1/organisations/{public_id('org', at % schools)}/report?season_id={SEASON}"
        for at in range(READERS)
    ]
    for path in paths:
        Client(url, key).ask("GET", path)
    counts, stop = [0] * READERS, time.perf_counter() + SECONDS

    def read(at: int) -> None:
        client = Client(url, key)
        while time.perf_counter() < stop:
            client.ask("GET", paths[at])
            counts[at] += 1

    threads = [threading.Thread(target=read, args=(at,)) for at in range(READERS)]
    for each in threads:
        each.start()
    writer = Client(url, other_key(url, key))
    while writes and time.perf_counter() < stop:
        writer.ask("POST", "/v1/trials", trial_of(0))
        time.sleep(WRITE_EVERY_S)
    for each in threads:
        each.join()
    return sum(counts) / SECONDS

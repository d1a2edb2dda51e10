"""Measure service processes that share one server: trials of different schools, and a report."""

import os
import statistics
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from itertools import count
from pathlib import Path
from typing import Any

from sqlalchemy import create_engine

from tests.bench.columns import BUILDS, SESSIONS, TEAMS_OF_A_BENCH
from tests.bench.filled import fill, public_id
from tests.bench.serving import UNLIMITED, Client
from tests.bench.timing import Row
from tests.bench.work_readers import coach_key
from tests.reliability.places import fresh
from tests.support.databases import ROLE, named_database, run_on_postgres
from tests.support.service import FreshService

TRIALS, SCHOOLS, CLIENTS = 3_000, 24, 16
ROUNDS, SECONDS, PROCESSES = 5, 6.0, 2
numbers = count()


def rows(scale: str) -> Iterator[Row]:
    """Yield how many trials of different schools two processes store, against one."""
    with services() as (pair, keys, server):
        for service in pair:
            trials_a_second([service], keys, 2.0)  # warms up
        rates: dict[int, list[float]] = {1: [], PROCESSES: []}
        taken = [0.0, 0.0, 0]
        for at in range(ROUNDS):
            rates[1].append(trials_a_second([pair[at % PROCESSES]], keys))
            before = cpu_s([each.process.pid for each in pair]), cpu_s(server())
            rates[PROCESSES].append(trials_a_second(pair, keys))
            after = cpu_s([each.process.pid for each in pair]), cpu_s(server())
            taken = [taken[0] + after[0] - before[0], taken[1] + after[1] - before[1],
                     taken[2] + rates[PROCESSES][-1] * SECONDS]  # fmt: skip
    one, two = (statistics.median(rates[each]) for each in (1, PROCESSES))
    yield Row(f"{two:.0f} trials a second of {SCHOOLS} schools, {PROCESSES} processes, PostgreSQL",
              1 / two, f"{one:.0f} by one process", 1 / one, 1.3, at_least=True)  # fmt: skip
    service_s, server_s, trials = taken
    yield Row("processor time of a trial in these services", service_s / trials,
              "in the server", server_s / trials, None)  # fmt: skip


@contextmanager
def services() -> Iterator[tuple[list[FreshService], list[str], Any]]:
    """Give services over one server, each school's coach's key, and the server's processes."""
    with ExitStack() as running:
        folder, address = running.enter_context(fresh("postgresql"))
        url = drawn(address)
        pair = []
        for number in range(PROCESSES):
            place = folder / str(number)
            place.mkdir()
            pair.append(FreshService(place, url, **UNLIMITED))
            running.callback(pair[-1].kill)
        lead = pair[0].lead_key()
        keys = [coach_key(pair[0].url, lead, school) for school in range(SCHOOLS)]
        postmaster = int((folder / "data" / "postmaster.pid").read_text().split()[0])
        yield pair, keys, lambda: children(postmaster)


def drawn(address: str) -> str:
    """Return the address of a database on a server with a season, as its plain role opens it."""
    from api.migrate import upgrade

    run_on_postgres(address, f"CREATE ROLE {ROLE} LOGIN")
    run_on_postgres(address, f"CREATE DATABASE drawn OWNER {ROLE}")
    url = named_database(address, "drawn")
    upgrade(url)
    engine = create_engine(url)
    with engine.begin() as connection:
        fill(connection, TRIALS, SCHOOLS * TEAMS_OF_A_BENCH)
    engine.dispose()
    return url


def trials_a_second(
    pair: Sequence[FreshService], keys: Sequence[str], seconds: float = SECONDS
) -> float:
    """Return how many trials clients store a second, each with the keys of schools of its own."""
    stop, stored = time.perf_counter() + seconds, [0] * CLIENTS

    def send(at: int) -> None:
        schools = range(at, SCHOOLS, CLIENTS)
        clients = [Client(pair[at % len(pair)].url, keys[school]) for school in schools]
        while time.perf_counter() < stop:
            number = next(numbers)
            place = number % len(clients)
            clients[place].ask("POST", "/v1/trials", trial_of(schools[place], number))
            stored[at] += 1

    threads = [threading.Thread(target=send, args=(at,)) for at in range(CLIENTS)]
    started = time.perf_counter()
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    return sum(stored) / (time.perf_counter() - started)


def trial_of(school: int, number: int) -> dict[str, Any]:
    """Return a trial of a school's team that nobody sent before, in the bench's latest session."""
    team = school * TEAMS_OF_A_BENCH + number % TEAMS_OF_A_BENCH
    return {
        "session_id": public_id("ses", school * SESSIONS + SESSIONS - 1), "kind": "record",
        "build_id": public_id("bld", team * BUILDS + BUILDS - 1), "load_ohm": 30.1,
        "load_connected": True, "client_ref": f"school-{number}", "pitch_deg": number % 30,
        "meter_range_v": 2.0,
        "runs": [{"voltage_v": 1.15 + number * 7 % 100 / 1000 + at / 1000, "duration_s": 30}
                 for at in range(3)],
    }  # fmt: skip


def children(pid: int) -> list[int]:
    """Return a process and those that it started."""
    every = [int(each.name) for each in Path("/proc").iterdir() if each.name.isdigit()]
    return [each for each in every if each == pid or _fields(each)[1] == str(pid)]


def cpu_s(pids: Sequence[int]) -> float:
    """Return the processor time that processes have taken."""
    ticks = sum(int(_fields(pid)[11]) + int(_fields(pid)[12]) for pid in pids)
    return ticks / os.sysconf("SC_CLK_TCK")


def _fields(pid: int) -> list[str]:
    """Return what the system says of a process after its name; nothing, if it has ended."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except FileNotFoundError:
        return ["Z", "0", *["0"] * 20]

"""Measure what a write and a read cost on a server, by the size of the season.

`python -m tests.bench.capacity club region country` fills a database of each size on a real server
and prints, for each kind of request, how long it takes and the processor time of the service and of
the server. From the latter follows how many requests a machine answers (scripts/deploy/COUNTRY.md).
"""

import argparse
import statistics
import time
from collections.abc import Callable, Sequence
from itertools import count
from pathlib import Path
from typing import Any

from sqlalchemy import create_engine

from api.migrate import upgrade
from tests.bench.columns import SCALES
from tests.bench.filled import SEASON, fill, public_id
from tests.bench.serving import UNLIMITED, Client, peak_mb
from tests.bench.work_processes import children, cpu_s, trial_of
from tests.bench.work_readers import coach_key
from tests.reliability.places import fresh, print_table
from tests.support.databases import ROLE, named_database, run_on_postgres
from tests.support.service import FreshService

OFTEN, RARELY = 40, 5
SCHOOL, OTHER = 1, 0
numbers = count()


def measure(scale: str, url: str, folder: Path, postmaster: int) -> list[dict[str, Any]]:
    """Return a row for each kind of request to a service over a filled database."""
    service = FreshService(folder, url, **UNLIMITED)
    try:
        lead_key = service.lead_key()
        lead = Client(service.url, lead_key)
        coach = Client(service.url, coach_key(service.url, lead_key, SCHOOL))
        team = f"/v1/teams/{public_id('team', 7)}/report"
        comparison = f"/v1/seasons/{SEASON}/comparison"

        def store(school: int) -> Callable[[], object]:
            return lambda: lead.ask("POST", "/v1/trials", trial_of(school, next(numbers)))

        def read(client: Client, path: str) -> Callable[[], object]:
            return lambda: client.ask("GET", path)

        def after_a_write(client: Client, path: str) -> list[Callable[[], object]]:
            return [step for _ in range(RARELY) for step in (store(OTHER), read(client, path))]

        kinds: dict[str, tuple[Sequence[Callable[[], object]], int]] = {
            "comparison, the first": ([read(lead, comparison)], 1),
            "team's report, the first of a coach": ([read(coach, team)], 1),
            "team's report, to its coach": ([read(coach, team)] * OFTEN, 1),
            "page of 50 trials": ([read(coach, "/v1/trials?limit=50")] * OFTEN, 1),
            "one trial stored": ([store(OTHER)] * OFTEN, 1),
            "a trial of another school, then the team's report": (after_a_write(coach, team), 2),
            "a trial, then the comparison to who stored it": (after_a_write(lead, comparison), 2),
        }
        store(OTHER)()
        return [{"season": scale, "request": name, **_taken(steps, each, service, postmaster),
                 "most memory [MB]": f"{peak_mb(service):.0f}"}
                for name, (steps, each) in kinds.items()]  # fmt: skip
    finally:
        service.kill()


def _taken(
    steps: Sequence[Callable[[], object]], each: int, service: FreshService, postmaster: int
) -> dict[str, str]:
    """Do some steps, `each` of them a request; return their times in milliseconds."""
    before, times = (cpu_s([service.process.pid]), cpu_s(children(postmaster))), []
    for at in range(0, len(steps), each):
        started = time.perf_counter()
        for step in steps[at : at + each]:
            step()
        times.append(time.perf_counter() - started)
    after = cpu_s([service.process.pid]), cpu_s(children(postmaster))
    service_s, server_s = ((new - old) / len(times) for new, old in zip(after, before, strict=True))
    return {"median [ms]": f"{1000 * statistics.median(times):.3g}",
            "service [CPU ms]": f"{1000 * service_s:.3g}",
            "server [CPU ms]": f"{1000 * server_s:.3g}"}  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scales", nargs="*", choices=[[], *SCALES])
    rows = []
    with fresh("postgresql") as (folder, address):
        postmaster = int((folder / "data" / "postmaster.pid").read_text().split()[0])
        run_on_postgres(address, f"CREATE ROLE {ROLE} LOGIN")
        for scale in parser.parse_args().scales or ("club", "region"):
            run_on_postgres(address, f"CREATE DATABASE {scale} OWNER {ROLE}")
            url = named_database(address, scale)
            upgrade(url)
            engine = create_engine(url)
            with engine.begin() as connection:
                fill(connection, *SCALES[scale])
            engine.dispose()
            run_on_postgres(url, "VACUUM ANALYZE")
            rows += measure(scale, url, folder, postmaster)
    print_table("Cost of requests", rows)


if __name__ == "__main__":
    main()

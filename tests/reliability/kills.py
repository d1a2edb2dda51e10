"""Imports while the service is killed again and again: nothing lost, nothing doubled, nothing half.

`python -m tests.reliability.kills --kills 50 --imports 200 --rows 200 --database sqlite` starts
the real service, sends batches under an Idempotency-Key each and sends them again until they are
acknowledged, kills the service (SIGKILL) at a random moment of its work, looks into the database
after each kill, and at last holds what is stored against what was acknowledged.
"""

import argparse
import random
import sqlite3
import threading
import time
import uuid
from collections import Counter
from dataclasses import dataclass, field

import httpx
import sqlalchemy as sa

from tests.reliability.places import KINDS, fresh
from tests.support.makers import bench_payload, created, make_world, session_payload, trial_payload
from tests.support.service import Service

BENCHES = 20  # each write checks a complete bench, so a season uses several
PATIENCE_S = 600


@dataclass
class Counts:
    """What a run saw."""

    kills: int = 0
    attempts: int = 0
    acknowledged: int = 0
    lost: int = 0
    doubled: int = 0
    partial: int = 0
    damaged: int = 0
    replayed: int = 0
    seconds: float = 0.0
    refused: Counter = field(default_factory=Counter)

    @property
    def is_clean(self):
        """Tell whether nothing went wrong."""
        return not (self.lost or self.doubled or self.partial or self.damaged or self.refused)


@dataclass(frozen=True)
class Bench:
    """One bench with a session, to send batches to."""

    session_id: str
    build_id: str
    team_id: str = ""


def prepare(service, benches):
    """Register a school with some benches; return its key and the places to send to."""
    lead_key = service.lead_key()
    clients = {}

    def signed(key):
        return clients.setdefault(key, service.client(key))

    world = make_world(lead_key, signed)
    coach, school, places = signed(world.larch.coach_key), world.larch, []
    for number in range(benches):
        bench = created(coach.post("/v1/benches", json=bench_payload(
            school, name=f"Bench {number}", fan_setting=f"{number}")))  # fmt: skip
        payload = session_payload(school, bench_id=bench["id"], meter_id=school.meter_id)
        session = created(coach.post("/v1/sessions", json=payload))
        places.append(Bench(session["id"], school.build_id))
    for client in clients.values():
        client.close()
    return world.larch.coach_key, school, places


def batch_of(school, place, number, rows):
    """Return one batch: trials whose names tell their import."""
    return {"trials": [
        trial_payload(school, session_id=place.session_id, build_id=place.build_id,
                      client_ref=f"i{number}-{row}", pitch_deg=row % 30,
                      runs=[{"voltage_v": 1 + row % 900 / 1000}])
        for row in range(rows)
    ]}  # fmt: skip


class Killer(threading.Thread):
    """Kills the service at random moments, and starts it again."""

    def __init__(self, service, counts, kills, look):
        super().__init__(daemon=True)
        self.service, self.counts, self.kills, self.look = service, counts, kills, look
        self.done = threading.Event()

    def run(self):
        """Kill as often as asked, or until there is nothing left to send."""
        while self.counts.kills < self.kills and not self.done.is_set():
            time.sleep(random.uniform(0.02, 0.7))
            self.service.kill()
            self.counts.kills += 1
            self.counts.damaged += self.look()
            self.service.start()


def send(service, key, number, batch, counts):
    """Send a batch until it is acknowledged."""
    headers = {"Authorization": f"Bearer {key}", "Idempotency-Key": f"{number}-{uuid.uuid4()}"}
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        counts.attempts += 1
        try:
            answer = httpx.post(
                f"{service.url}/v1/imports", json=batch, headers=headers, timeout=60
            )
        except httpx.TransportError:
            time.sleep(0.05)
            continue
        if answer.status_code == 201:
            counts.acknowledged += 1
            counts.replayed += "idempotent-replayed" in answer.headers
            return
        if answer.status_code != 503:
            counts.refused[f"{answer.status_code} {answer.text[:200]}"] += 1
            return
        time.sleep(0.1)


def integrity(database_url):
    """Return 1 where an embedded database is damaged; a server looks after its own."""
    if not database_url.startswith("sqlite"):
        return 0
    with sqlite3.connect(database_url.removeprefix("sqlite:///")) as connection:
        problems = [row[0] for row in connection.execute("PRAGMA integrity_check")]
        orphans = connection.execute("PRAGMA foreign_key_check").fetchall()
    connection.close()
    return int(problems != ["ok"] or bool(orphans))


def count(database_url, imports, rows, counts):
    """Hold what is stored against what was acknowledged."""
    engine = sa.create_engine(database_url, poolclass=sa.pool.NullPool)
    with engine.connect() as connection:
        names = connection.execute(
            sa.text("SELECT client_ref FROM trial WHERE client_ref LIKE 'i%-%'")
        ).scalars()
        stored = Counter(names)
    engine.dispose()
    of_import = Counter(name.split("-")[0] for name in stored)
    counts.lost = imports * rows - len(stored)
    counts.doubled = sum(each - 1 for each in stored.values())
    counts.partial = sum(each not in (0, rows) for each in of_import.values())


def run(kills, imports, rows, database_url, folder):
    """Return the observations of a complete run."""
    service, counts = Service(folder, database_url), Counts()
    url = database_url or f"sqlite:///{folder}/walk.db"
    try:
        key, school, places = prepare(service, min(BENCHES, imports))
        killer = Killer(service, counts, kills, lambda: integrity(url))
        started = time.monotonic()
        killer.start()
        for number in range(imports):
            place = places[number % len(places)]
            send(service, key, number, batch_of(school, place, number, rows), counts)
        killer.done.set()
        killer.join()
        counts.seconds = time.monotonic() - started
    finally:
        service.kill()
    counts.damaged += integrity(url)
    count(url, imports, rows, counts)
    return counts


def table(counts, database):
    """Return the results as lines of a table."""
    names = ("kills", "attempts", "acknowledged", "replayed", "lost", "doubled", "partial",
             "damaged")  # fmt: skip
    items = [f"{database}: {counts.seconds:.0f} s"]
    items += [f"  {name:13} {getattr(counts, name)}" for name in names]
    return "\n".join([*items, *(f"  refused       {words}" for words in counts.refused)])


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--imports", type=int, default=200)
    parser.add_argument("--rows", type=int, default=200)
    parser.add_argument("--database", choices=KINDS, default="sqlite")
    asked = parser.parse_args()
    with fresh(asked.database) as (folder, url):
        counts = run(asked.kills, asked.imports, asked.rows, url, folder)
    print(table(counts, asked.database))
    raise SystemExit(0 if counts.is_clean and counts.kills == asked.kills else 1)


if __name__ == "__main__":
    main()

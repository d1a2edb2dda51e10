"""Many at once: eight who change the same thing in turn, and thirty-two who send trials.

`python -m tests.reliability.clients` prints a table for both kinds of database. Each of eight
writers reads a number, adds one and writes it back under the tag it read (`If-Match`); anyone who
comes too late reads again. Nothing is lost when the number in the end is the number of changes
acknowledged.
"""

import argparse
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor

from tests.reliability.kills import prepare
from tests.reliability.places import KINDS, fresh, print_table
from tests.support.makers import trial_payload
from tests.support.service import Service

WRITERS, CLIENTS, BENCHES = 8, 32, 16


class Clients:
    """A client for each thread, over one service."""

    def __init__(self, service, key):
        self._service, self._key = service, key
        self._kept, self._made = threading.local(), []

    def __call__(self):
        if not hasattr(self._kept, "client"):
            self._kept.client = self._service.client(self._key)
            self._made.append(self._kept.client)
        return self._kept.client

    def close(self):
        for client in self._made:
            client.close()


def add_one(client, path):
    """Add one to the number in a thing's note; return how often another came first."""
    for late in range(10_000):
        read = client.get(path)
        number = int(read.json()["note"] or 0)
        tag = {"If-Match": read.headers["etag"]}
        answer = client.patch(path, json={"note": str(number + 1)}, headers=tag)
        if answer.status_code == 200:
            return late
        assert answer.status_code == 412, answer.text
    raise AssertionError("never had its turn")


def read_modify_write(clients, path, times):
    """Let eight writers add one in turn; return what was seen."""
    started = time.monotonic()
    with ThreadPoolExecutor(WRITERS) as pool:
        late = list(pool.map(lambda _: add_one(clients(), path), range(times)))
    stored = int(clients().get(path).json()["note"])
    return {
        "what": f"{WRITERS} writers", "sent": times, "refused": 0, "lost": times - stored,
        "read again": sum(late), "seconds": f"{time.monotonic() - started:.0f}",
        "p99 ms": "", "max ms": "",
    }  # fmt: skip


def submit(clients, school, places, trials):
    """Let thirty-two clients send single trials; return what was seen."""
    took, statuses = [], Counter()

    def send(number):
        place = places[number % len(places)]
        asked = trial_payload(school, session_id=place.session_id, build_id=place.build_id,
                              client_ref=f"c-{number}", pitch_deg=number % 30,
                              runs=[{"voltage_v": 1.2 + 0.01 * at + number % 7 / 100}
                                    for at in range(3)])  # fmt: skip
        started = time.monotonic()
        answer = clients().post("/v1/trials", json=asked)
        took.append(1000 * (time.monotonic() - started))
        statuses[answer.status_code] += 1

    started = time.monotonic()
    with ThreadPoolExecutor(CLIENTS) as pool:
        list(pool.map(send, range(trials)))
    seconds, took = time.monotonic() - started, sorted(took)
    stored = clients().get(f"/v1/seasons/{school.season_id}/report").json()["trials_stored"]
    return {
        "what": f"{CLIENTS} clients", "sent": trials, "refused": trials - statuses[201],
        "lost": trials + 1 - stored, "read again": "", "seconds": f"{seconds:.0f}",
        "p99 ms": f"{took[int(0.99 * len(took))]:.0f}", "max ms": f"{took[-1]:.0f}",
    }  # fmt: skip


def run(database_url, folder, changes, trials, benches=BENCHES):
    """Return both measurements of one database."""
    service = Service(folder, database_url)
    try:
        key, school, places = prepare(service, benches)
        clients = Clients(service, key)
        rows = [
            read_modify_write(clients, f"/v1/equipment/{school.kit_id}", changes),
            submit(clients, school, places, trials),
        ]
        clients.close()
    finally:
        service.kill()
    return rows


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--changes", type=int, default=800)
    parser.add_argument("--trials", type=int, default=1000)
    asked, rows = parser.parse_args(), []
    for kind in KINDS:
        with fresh(kind) as (folder, url):
            seen = run(url, folder, asked.changes, asked.trials)
            rows += [{"database": kind} | row for row in seen]
    print_table("Many at once", rows)
    raise SystemExit(any(row["lost"] or row["refused"] for row in rows))


if __name__ == "__main__":
    main()

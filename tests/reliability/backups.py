"""Make backups during writes, and restore each of them: the same rows, the same reports.

`python -m tests.reliability.backups` makes twenty backups on each kind of database while imports go
on, restores each into a fresh place, and holds rows, schema and the digest of every season's report
against the recorded ones. A table shows how long each took during the writes.
"""

import argparse
import statistics
import threading
import time
from pathlib import Path

import psycopg
from sqlalchemy.engine import make_url

from api.services.operations import backups, restoring
from api.services.operations.manifests import BackupFailed
from tests.reliability.kills import batch_of, prepare
from tests.reliability.places import KINDS, fresh, print_table
from tests.support.service import Service

ROWS, BENCHES = 40, 20


class Writer(threading.Thread):
    """Sends imports until it is stopped."""

    def __init__(self, service, key, school, places):
        super().__init__(daemon=True)
        self.service, self.key, self.school, self.places = service, key, school, places
        self.done, self.stored, self.refused = threading.Event(), 0, []

    def run(self):
        with self.service.client(self.key) as client:
            while not self.done.is_set():
                place = self.places[self.stored % len(self.places)]
                batch = batch_of(self.school, place, self.stored, ROWS)
                answer = client.post("/v1/imports", json=batch)
                if answer.status_code != 201:
                    self.refused.append(answer.text)
                self.stored += 1


def target(database_url, folder, number):
    """Return a place where no database is yet."""
    url = make_url(database_url)
    if url.get_backend_name() == "sqlite":
        return f"sqlite:///{folder}/restored/{number}.db"
    with psycopg.connect(database_url, autocommit=True) as connection:
        connection.execute(f"CREATE DATABASE restored_{number}")
    return url.set(database=f"restored_{number}").render_as_string(hide_password=False)


def run(database_url, folder, times):
    """Make this number of backups and restores; return the results."""
    service, backup_folder = Service(folder, database_url), Path(folder) / "kept"
    try:
        key, school, places = prepare(service, BENCHES)
        writer = Writer(service, key, school, places)
        writer.start()
        manifests, took, equal, faults, restores = [], [], 0, [], []
        for _ in range(times):
            before = writer.stored
            started = time.monotonic()
            manifests.append(backups.make(database_url, backup_folder, times))
            took.append(time.monotonic() - started)
            while writer.stored == before and writer.is_alive():
                time.sleep(0.01)  # the next backup has something new
        writer.done.set()
        writer.join()
        for number, manifest in enumerate(manifests):
            started = time.monotonic()
            try:
                restoring.restore(
                    backup_folder / manifest.file, target(database_url, folder, number)
                )
                equal += 1
            except BackupFailed as fault:
                faults.append(str(fault))
            restores.append(time.monotonic() - started)
    finally:
        service.kill()
    return {
        "backups": len(manifests), "imports meanwhile": writer.stored,
        "refused": len(writer.refused), "different digests": len({
            digest for manifest in manifests for digest in manifest.digests.values()}),
        "rows, first to last": f"{manifests[0].rows['trial']}–{manifests[-1].rows['trial']}",
        "backup s": f"{statistics.median(took):.1f}", "restores": len(restores),
        "restore s": f"{statistics.median(restores):.1f}", "equal": equal, "faults": faults or 0,
    }  # fmt: skip


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--times", type=int, default=20)
    asked, rows = parser.parse_args(), []
    for kind in KINDS:
        with fresh(kind) as (folder, url):
            rows.append({"database": kind} | run(url, folder, asked.times))
    print_table("Backups under load, each put back", rows)
    raise SystemExit(any(row["equal"] != asked.times or row["refused"] for row in rows))


if __name__ == "__main__":
    main()

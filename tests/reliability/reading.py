"""How long others wait while a large file is imported, with either journal.

`python -m tests.reliability.reading --rows 100000` starts the real service on an embedded database,
imports a file of so many rows, and meanwhile asks for a list, a report, readiness and a page again
and again, and submits single trials. Prints the longest wait of each, with the write-ahead log and
with the rollback journal that older versions of SQLite have to use.
"""

import argparse
import tempfile
import threading
import time
from collections import defaultdict

import httpx

import api.db
from tests.reliability.kills import prepare
from tests.reliability.places import print_table
from tests.support.makers import trial_payload
from tests.support.service import FreshService

HEADER = (
    "team;build;bench;session_started_at;client_ref;load_ohm;load_connected;voltage_v;pitch_deg"
)
BENCHES = 20
#: The longest time that a read may take during the import. [s]
LONGEST_S = 1.0


def file_of(rows):
    """Return a file of trials of three runs each, over all benches."""
    lines = [f"{HEADER};adult_present"]
    for at in range(rows):
        trial = at // 3
        lines.append(f"Larch one;1;Bench {trial % BENCHES};2026-03-06 10:{trial % 60:02}:00;"
                     f"f-{trial};30,1;yes;1,{20 + at % 3};{trial % 30};yes")  # fmt: skip
    return "\n".join(lines).encode()


class WithJournal(FreshService):
    """A service whose SQLite is taken for one that keeps a certain journal."""

    def __init__(self, folder, journal):
        text = f"import api.embedded; api.embedded.JOURNAL = {journal!r}\n"
        self.PROGRAM = ("-c", text + "from api.__main__ import app; app()", "serve")
        super().__init__(folder, GUSTBOOK_MAX_BODY_BYTES="60000000")


def asked_again(client, paths, durations, stop):
    """Ask for each address in turn until stopped; note how long each took."""
    while not stop.is_set():
        for name, path in paths.items():
            started = time.monotonic()
            answer = client.get(path)
            durations[name].append((time.monotonic() - started, answer.status_code))


def submitted_again(client, school, place, durations, stop):
    """Submit single trials until stopped."""
    while not stop.is_set():
        started = time.monotonic()
        ref = f"s-{len(durations['submit a trial'])}"
        asked = trial_payload(school, session_id=place.session_id, client_ref=ref)
        answer = client.post("/v1/trials", json=asked)
        durations["submit a trial"].append((time.monotonic() - started, answer.status_code))


def run(journal, rows):
    """Return the times of requests during one import, and the time of the import."""
    api.db.JOURNAL = journal  # keys are made in this process, with the same journal
    with tempfile.TemporaryDirectory() as folder:
        service = WithJournal(folder, journal)
        try:
            key, school, places = prepare(service, BENCHES)
            other, durations, stop = service.lead_key("Other"), defaultdict(list), threading.Event()
            season = f"/v1/seasons/{school.season_id}"
            paths = {"list trials": "/v1/trials?limit=20", "readiness": "/readyz",
                     "a team": f"/v1/teams/{school.team_id}", "season report": f"{season}/report",
                     "comparison": f"{season}/comparison"}  # fmt: skip
            with service.client(other) as reading, service.client(other) as writing:
                reading.timeout = writing.timeout = 120
                threads = [
                    threading.Thread(target=asked_again, args=(reading, paths, durations, stop)),
                    threading.Thread(
                        target=submitted_again, args=(writing, school, places[0], durations, stop)
                    ),
                ]
                for each in threads:
                    each.start()
                started = time.monotonic()
                answer = httpx.post(
                    f"{service.url}/v1/imports?warnings=accept", content=file_of(rows), timeout=600,
                    headers={"Authorization": f"Bearer {key}", "Content-Type": "text/csv"},
                )  # fmt: skip
                took = time.monotonic() - started
                stop.set()
                for each in threads:
                    each.join()
            assert answer.status_code == 201, answer.text[:500]
        finally:
            service.kill()
    return durations, took


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=100_000)
    asked, rows, worst = parser.parse_args(), [], {}
    for journal in ("WAL", "TRUNCATE"):
        durations, took = run(journal, asked.rows)
        for name, seen in durations.items():
            seconds = [each for each, _ in seen]
            refused = sum(status >= 400 for _, status in seen)
            rows.append({"journal": journal, "request": name, "asked": len(seen),
                         "median s": f"{sorted(seconds)[len(seconds) // 2]:.3f}",
                         "longest s": f"{max(seconds):.2f}", "refused": refused})  # fmt: skip
            if name != "submit a trial":
                worst[journal] = max(worst.get(journal, 0), *seconds)
        print(f"{journal}: {asked.rows} rows imported in {took:.1f} s")
    print_table(f"Beside an import of {asked.rows} rows", rows)
    raise SystemExit(worst["WAL"] > LONGEST_S)


if __name__ == "__main__":
    main()

"""A clock that is set back, and summer time that begins and ends, under a running service.

`python -m tests.reliability.clocks` starts the real service with a clock that is read from a file
(`libfaketime`, Debian's package `faketime`), works, sets the clock back by two hours, works on,
kills and starts the service in the past, works on, and sets it right again. A table tells what was
seen.
"""

import os
import time
from collections import Counter
from pathlib import Path

import httpx

from tests.reliability.kills import prepare
from tests.reliability.places import KINDS, fresh, print_table
from tests.support.makers import created, session_payload, trial_payload
from tests.support.service import FreshService, Service

LIBRARIES = ("/usr/lib/*/faketime/libfaketimeMT.so.1", "/usr/lib/faketime/libfaketimeMT.so.1")
LOOK_EVERY_S = 1  # the library looks into its file so often
#: In Zurich summer time of 2026 begins on 29 March at 02:00 and ends on 25 October at 03:00.
ZONE = "Europe/Zurich"


def library():
    """Return the library that shows a program another time."""
    paths = [path for pattern in LIBRARIES for path in Path("/").glob(pattern.lstrip("/"))]
    assert paths, "libfaketime is missing: sudo apt install faketime"
    return str(paths[0])


class Clock:
    """What time a service is shown: this machine's, moved by some hours."""

    def __init__(self, folder):
        self.file = Path(folder) / "clock"
        self.move(0)

    def move(self, hours):
        """Move the service's clock; it holds from its next look on."""
        written = self.file.with_suffix(".new")
        written.write_text(f"{hours:+d}h\n")
        os.replace(written, self.file)
        time.sleep(LOOK_EVERY_S + 0.2)

    @property
    def settings(self):
        """Return the environment that lets a service look at this clock."""
        return {
            "LD_PRELOAD": library(), "FAKETIME_TIMESTAMP_FILE": str(self.file),
            "FAKETIME_CACHE_DURATION": str(LOOK_EVERY_S), "FAKETIME_DONT_FAKE_MONOTONIC": "1",
        }  # fmt: skip


def work(client, school, name, wrong, trials):
    """Send trials and a retry of one, change a thing and read a report; count what is not right."""
    names = [f"{name}-{number}" for number in range(trials)]
    for ref in names:
        asked = trial_payload(school, client_ref=ref)
        answer = client.post("/v1/trials", json=asked, headers={"Idempotency-Key": ref})
        wrong[f"trial {answer.status_code}"] += answer.status_code != 201
    again = client.post("/v1/trials", json=trial_payload(school, client_ref=names[0]),
                        headers={"Idempotency-Key": names[0]})  # fmt: skip
    wrong["a retry is another answer"] += "idempotent-replayed" not in again.headers
    path = f"/v1/teams/{school.team_id}"
    tag = {"If-Match": client.get(path).headers["etag"]}
    changed = client.patch(path, json={"size": 4}, headers=tag)
    wrong[f"change {changed.status_code}"] += changed.status_code != 200
    report = client.get(f"/v1/seasons/{school.season_id}/report")
    wrong[f"report {report.status_code}"] += report.status_code != 200


def listed(client):
    """Return the names of all trials, page by page."""
    names, path = [], "/v1/trials?limit=7"
    while path:
        answer = client.get(path)
        names += [each["client_ref"] for each in answer.json()["items"]]
        path = answer.links["next"]["url"] if "next" in answer.links else None
    return names


#: Two hours back, a start in the past, and right again.
THERE_AND_BACK = (0, -2, -2, 0)


def set_back(database_url, folder, trials=10, moves=THERE_AND_BACK):
    """Return the faults while the clock went back and forth, and the number of trials.

    Where it stays for another move, the service starts again.
    """
    clock, wrong = Clock(folder), Counter()
    service = FreshService(folder, database_url, **clock.settings)
    try:
        key, school, _ = prepare(service, 1)
        same = {"Sec-Fetch-Site": "same-origin", "Accept": "text/html"}
        with service.client(key) as client:
            signed = httpx.post(f"{service.url}/sign-in", data={"key": key}, headers=same)
            cookie = {"Cookie": signed.headers["set-cookie"].split(";")[0]}
            for at, hours in enumerate(moves):
                clock.move(hours)
                if at and hours == moves[at - 1]:
                    service.kill()
                    service.start()
                work(client, school, f"k{at}", wrong, trials)
                page = httpx.get(f"{service.url}/today", headers=same | cookie)
                wrong[f"page {page.status_code}"] += page.status_code != 200
            names = listed(client)
        wrong["listed twice"] += len(names) - len(set(names))
        wrong["not listed"] += len(moves) * trials + 1 - len(names)
    finally:
        service.kill()
    return +wrong, len(names)


#: Moments with their offset, so that none is ambiguous; the last is a leap day.
MOMENTS = {
    "before the gap": "2026-03-29T01:59:59+01:00",
    "after the gap": "2026-03-29T03:00:00+02:00",
    "first 02:30 of the overlap": "2026-10-25T02:30:00+02:00",
    "second 02:30 of the overlap": "2026-10-25T02:30:00+01:00",
    "29 February": "2028-02-29T10:00:00+01:00",
}
LOCAL = {"2026-03-29 02:30": 422, "2026-10-25 02:30": 422}


def summer_time(database_url, folder):
    """Return the faults in moments around a change of the clocks."""
    service, wrong = Service(folder, database_url), Counter()
    try:
        key, school, _ = prepare(service, 1)
        with service.client(key) as client:
            _widen(service, school)
            for words, moment in MOMENTS.items():
                session = created(client.post(
                    "/v1/sessions", json=session_payload(school, started_at=moment)))  # fmt: skip
                trial = client.post("/v1/trials", json=trial_payload(
                    school, session_id=session["id"], client_ref=words))  # fmt: skip
                wrong[f"{words} {trial.status_code}"] += trial.status_code != 201
            at_bench = client.get(f"/v1/sessions?bench_id={school.bench_id}").json()["items"]
            starts = [each["started_at"] for each in at_bench]
            wrong["moments fell together"] += len(starts) - len(set(starts))
            wrong.update(_local(client))
            for path in ("report", "comparison", "trials.csv"):
                answer = client.get(f"/v1/seasons/{school.season_id}/{path}")
                wrong[f"{path} {answer.status_code}"] += answer.status_code != 200
    finally:
        service.kill()
    return +wrong


def _widen(service, school):
    """Let the season reach over the moments, in a zone with summer time."""
    path = f"/v1/seasons/{school.season_id}"
    with service.client(service.lead_key("Second")) as lead:
        tag = {"If-Match": lead.get(path).headers["etag"]}
        wide = {"timezone": ZONE, "starts_on": "2026-02-02", "ends_on": "2028-12-01"}
        changed = lead.patch(path, json=wide, headers=tag)
        assert changed.status_code == 200, changed.text


def _local(client):
    """A file without offsets: an hour that was skipped or came twice is asked about."""
    wrong = Counter()
    for moment, expected in LOCAL.items():
        sheet = (
            "organisation,team,turbine,build,bench,session_started_at,kind,client_ref,run,"
            "load_ohm,load_connected,voltage_v,adult_present\n"
            f"Larch school,Larch one,Whirl,1,Larch hall,{moment},record,{moment},1,30,yes,1.2,yes\n"
        )
        answer = client.post("/v1/imports", content=sheet, headers={"Content-Type": "text/csv"})
        wrong[f"{moment} {answer.status_code}"] += answer.status_code != expected
    return wrong


def main():
    rows = []
    for kind in KINDS:
        with fresh(kind) as (folder, url):
            wrong, trials = set_back(url, folder)
            rows.append({"database": kind, "what": "clock set back 2 h and right again",
                         "trials": trials, "wrong": dict(wrong) or 0})  # fmt: skip
        with fresh(kind) as (folder, url):
            wrong = summer_time(url, folder)
            rows.append({"database": kind, "what": "summer time, leap day",
                         "trials": len(MOMENTS) + 1, "wrong": dict(wrong) or 0})  # fmt: skip
    print_table("Clocks", rows)
    raise SystemExit(any(row["wrong"] for row in rows))


if __name__ == "__main__":
    main()

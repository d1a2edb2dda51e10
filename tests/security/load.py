"""What one attacker's bodies, guesses and files cost all others, tried on a real service.

What was reached before is from a review of the service in November 2026, on two cores as well.
"""

import io
import json
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import httpx
import openpyxl

from tests.bench.filled import season_url
from tests.support.hostile_run import visiting
from tests.support.service import FreshService
from tests.support.unknown_fields import unknown_fields
from tests.support.wrong_keys import wrong

BODY_BYTES = 19_800_000
JSON = {"Content-Type": "application/json"}
WORKBOOK = {"Content-Type": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"}
UNLIMITED = {"GUSTBOOK_REQUESTS_PER_MINUTE": "1000000", "GUSTBOOK_IMPORTS_PER_DAY": "100000"}


class Watch:
    """Asks a service again and again whether it lives, and how much memory it holds."""

    def __init__(self, service):
        self.service, self.longest_s, self.most_mb = service, 0.0, 0.0
        self.ended = threading.Event()

    def look(self):
        """Look until stopped."""
        status = Path(f"/proc/{self.service.process.pid}/status")
        with httpx.Client(base_url=self.service.url, timeout=300) as client:
            while not self.ended.is_set():
                started = time.monotonic()
                client.get("/healthz")
                self.longest_s = max(self.longest_s, time.monotonic() - started)
                resident = status.read_text().split("VmRSS:")[1].split()[0]
                self.most_mb = max(self.most_mb, int(resident) / 1000)
                time.sleep(0.01)


@contextmanager
def watched(service):
    """Watch a service while a block runs."""
    watch = Watch(service)
    with ThreadPoolExecutor(1) as pool:
        looking = pool.submit(watch.look)
        try:
            yield watch
        finally:
            watch.ended.set()
        looking.result()  # a service that went away under it is an error, not a short look


def together(count, ask):
    """Ask so many times at once; return the statuses and the longest time."""

    def once(at):
        started = time.monotonic()
        try:
            status = ask(at).status_code
        except httpx.TransportError as error:  # the service hangs up on what it will not read
            status = type(error).__name__
        return status, time.monotonic() - started

    with ThreadPoolExecutor(count) as pool:
        seen = list(pool.map(once, range(count)))
    return {status for status, _ in seen}, max(seconds for _, seconds in seen)


def forged_bodies(visit):
    """Send large bodies under a forged key."""
    body = b"[" + b'{"load_ohm":30},' * (BODY_BYTES // 16) + b"{}]"
    headers = JSON | {"Authorization": f"Bearer {wrong(visit.key)}"}
    with watched(visit.service) as watch:
        address = f"{visit.service.url}/v1/trials"
        seen, _ = together(64, lambda _: httpx.post(
            address, content=body, headers=headers, timeout=300))  # fmt: skip
    return f"/healthz {watch.longest_s:.2f} s, {watch.most_mb:.0f} MB ({_words(seen)})"


def many_faults(visit):
    """Send bodies with a hundred thousand unknown fields under a right key."""
    body, headers = json.dumps(unknown_fields(100_000)).encode(), JSON
    with watched(visit.service) as watch:
        seen, longest = together(16, lambda _: visit.client.post(
            "/v1/trials", content=body, headers=headers, timeout=300))  # fmt: skip
    return f"longest {longest:.1f} s, /healthz {watch.longest_s:.2f} s ({_words(seen)})"


def guesses(visit):
    """Guess a secret a thousand times, then send the right one from the same network."""
    with httpx.Client(base_url=visit.service.url, timeout=60) as client:
        headers = {"Authorization": f"Bearer {wrong(visit.key)}"}
        for _ in range(1000):
            client.get("/v1/teams", headers=headers)
    started = time.monotonic()
    status = visit.client.get("/v1/teams").status_code
    return f"the right key: {status} after {time.monotonic() - started:.2f} s"


def workbook(rows):
    """Return a workbook with this number of trials of a team that does not exist."""
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet()
    names = ["team", "turbine", "build", "voltage_v", "load_ohm", "note"]
    sheet.append(names)
    for at in range(rows):
        sheet.append(["Larch one", "Windy", "1", 1.2, 30.1, f"row {at}"])
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def workbooks(visit, other):
    """Try a dozen large workbooks, and meanwhile another key's one row."""
    body = workbook(8_000)
    row = "team,turbine,build,voltage_v,load_ohm\nLarch one,Windy,1,1.2,30.1\n"

    def send(_):
        return visit.client.post(
            "/v1/imports?dry_run=true", content=body, headers=WORKBOOK, timeout=600
        )

    with ThreadPoolExecutor(1) as executor:
        dozen = executor.submit(together, 12, send)
        time.sleep(1)
        started = time.monotonic()
        answer = other.post(
            "/v1/imports?dry_run=true", content=row, headers={"Content-Type": "text/csv"},
            timeout=600,
        )  # fmt: skip
        seconds = time.monotonic() - started
        seen, longest = dozen.result()
    text = f"another's row: {answer.status_code} after {seconds:.1f} s"
    return f"{text}; the dozen after {longest:.1f} s ({_words(seen)})"


def pages_to_print(folder):
    """Request a dozen PDFs of a club's complete season at once."""
    service = FreshService(folder, season_url("club"), **UNLIMITED)
    try:
        with service.client(service.lead_key()) as client:
            season = client.get("/v1/seasons").json()["items"][0]["id"]
            client.get(f"/v1/seasons/{season}/report", timeout=600)
            with watched(service) as watch:
                seen, longest = together(12, lambda _: client.get(
                    f"/v1/seasons/{season}/report?format=pdf", timeout=600))  # fmt: skip
    finally:
        service.kill()
    text = f"{watch.most_mb:.0f} MB, longest {longest:.1f} s, /healthz {watch.longest_s:.2f} s"
    return f"{text} ({_words(seen)})"


def _words(statuses):
    return ", ".join(sorted(map(str, statuses)))


def rows(folder):
    """Return one row for each attack: the best that was reached, before and now."""
    (folder / "pdf").mkdir()
    with (
        visiting(folder, UNLIMITED) as visit,
        visit.service.client(visit.service.lead_key("Other")) as other,
    ):
        now = (forged_bodies(visit), many_faults(visit), guesses(visit), workbooks(visit, other))
    before = (
        ("large bodies under a forged key", "64 × 19.8 MB", "/healthz 4.3 s, 3800 MB"),
        ("unknown fields", "16 × 100,000", "over 200 s; nothing else answered for two minutes"),
        ("guessed secrets close a network", "1000", "closed for 735 s"),
        ("workbooks of one key", "12 × 8000 rows", "another's row after 120 s"),
        ("pages to print of a large season", "12 at once", "2100 MB"),
    )
    now += (pages_to_print(folder / "pdf"),)
    return [
        {"attack": attack, "tried": tried, "before": reached, "now": body}
        for (attack, tried, reached), body in zip(before, now, strict=True)
    ]

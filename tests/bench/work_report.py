"""Measure a season's report: cached, after one more trial, and from an unused database."""

import math
import statistics
import time
from collections.abc import Iterator

from tests.bench.columns import SCALES
from tests.bench.filled import SEASON, public_id, season_url
from tests.bench.serving import Client, copied, in_a_process, ours
from tests.bench.timing import REPEATS, Row, interleaved
from tests.bench.work_requests import sent

ASKED, MOST_AFTER_S, MOST_PEAK_MB, MOST_EXPONENT = 101, 0.100, 400, 1.05
PAGE = f"/v1/organisations/{public_id('org', 1)}/report"
WHOLE = f"/v1/seasons/{SEASON}/report"

COLD = """
import json, sys, time
from sqlmodel import col
from api.db import open_database
from api.models.trials.trials import Trial
from api.services.measurements import season_trials
from api.services.core.scope import Caller
from api.services.season import reports
url, season_id, only_rows = sys.argv[1], sys.argv[2], sys.argv[3] == "rows"
database = open_database(url, threads=1, busy_timeout_s=5)
started = time.perf_counter()
with database.reading() as db:
    if only_rows:  # what is fetched for the report, and nothing made of it
        parts = season_trials.parts_of(db, col(Trial.season_id) == season_id)
        asked = (season_trials.trials_where(*here) for here in parts)
        for statement in (season_trials.sessions_in(season_id), season_trials.builds_in(season_id),
                          *asked):
            db.connection().execute(statement).cursor.fetchall()
    else:
        caller = Caller("key_bench", "bench", "lead", None)
        reports.season_report(db, caller, season_id).model_dump_json()
taken = time.perf_counter() - started
status = open("/proc/self/status").read()  # the usage that getrusage tells begins with the parent's
peak = int(status.split("VmHWM:")[1].split()[0]) / 1000
print(json.dumps({"seconds": taken, "peak_mb": peak}))
"""


def rows(scale: str) -> Iterator[Row]:
    """Yield the same page warm at club size and at this one, one more trial, and a cold report."""
    warm = _warm(scale)
    yield Row(f"one school's report, warm, {scale}", warm[scale], "the same at club size",
              warm["club"], 1.2)  # fmt: skip
    if scale == "club":
        yield Row("season report after one more trial", _after_one_more(), "100 ms",
                  MOST_AFTER_S, 1)  # fmt: skip
    cold = [in_a_process(COLD, season_url(scale), SEASON, "report") for _ in range(2)]
    feed = [in_a_process(COLD, season_url(scale), SEASON, "rows") for _ in range(2)]
    report = min(each["seconds"] for each in cold)
    is_country = scale == "country"
    yield Row(f"season report, cold, {scale}", report, "its rows fetched",
              min(each["seconds"] for each in feed), 1.5 if is_country else None)  # fmt: skip
    yield Row(f"season report, cold, {scale}, at most", max(each["peak_mb"] for each in cold),
              "most", MOST_PEAK_MB, 1 if is_country else None, unit="MB")  # fmt: skip
    if scale != "club":
        small = in_a_process(COLD, season_url("district"), SEASON, "report")["seconds"]
        times = SCALES[scale][0] / SCALES["district"][0]
        yield Row(f"its growth from 30,000 trials to {SCALES[scale][0]:,}, exponent",
                  math.log(report / small) / math.log(times), "most", MOST_EXPONENT, 1,
                  unit="")  # fmt: skip


def _warm(scale: str) -> dict[str, float]:
    """Return the median seconds of one school's report, asked for before, at both sizes."""
    with ours(copied("club")) as (small, small_key), ours(copied(scale)) as (large, large_key):
        for service, key in ((small, small_key), (large, large_key)):
            Client(service.url, key).ask("GET", PAGE)  # a country's takes longer than a pause may
        clients = {"club": Client(small.url, small_key), scale: Client(large.url, large_key)}
        return interleaved(
            {name: lambda client=client: client.ask("GET", PAGE)
             for name, client in clients.items()}, ASKED)  # fmt: skip


def _after_one_more() -> float:
    """Return the median seconds of the complete report, each after another trial."""
    with ours(copied("club")) as (service, key):
        client, taken = Client(service.url, key), []
        client.ask("GET", WHOLE)
        for _ in range(2 * REPEATS):
            client.ask("POST", "/v1/trials", sent())
            started = time.perf_counter()
            client.ask("GET", WHOLE)
            taken.append(time.perf_counter() - started)
    return statistics.median(taken)

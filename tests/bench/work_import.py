"""Measure a sheet of a hundred thousand readings over HTTP against plain inserts of its rows."""

import sqlite3
import time
from collections.abc import Iterator
from typing import Any

from sqlalchemy import create_engine

from api.migrate import upgrade
from tests.bench.columns import SESSIONS, TEAMS_OF_A_BENCH
from tests.bench.filled import STARTS, WEEK, folder
from tests.bench.serving import Client, copied, ours, peak_mb, plain
from tests.bench.timing import Row
from tests.reliability.places import fresh

READINGS, RUNS, TEAMS = 100_000, 3, 30
PLAIN_ROWS = 5_000  # of the plain route, which takes them row by row
HEAD = ("organisation,team,turbine,build,bench,session_started_at,kind,client_ref,run,pitch_deg,"
        "load_ohm,load_connected,voltage_v,wind_speed_m_s,air_temperature_c,pressure_hpa,"
        "relative_humidity_pct,warm_up_min,adult_present")  # fmt: skip
PLAIN_HEAD = ("session_id,build_id,kind,client_ref,pitch_deg,load_ohm,wind_speed_m_s,"
              "air_temperature_c,pressure_hpa,voltage_1_v")  # fmt: skip
STORED = ("trial", "run", "trial_result", "session", "flag", "audit_entry", "import_batch")


def sheet(readings: int) -> bytes:
    """Return a season's readings as a spreadsheet gives them, in the order they were taken."""
    lines, trials = [HEAD], readings // RUNS
    for trial in range(trials):
        team, week = trial % TEAMS, trial * SESSIONS // trials
        bench = team // TEAMS_OF_A_BENCH
        at = (STARTS + week * WEEK).replace(minute=bench)
        for run in range(1, RUNS + 1):
            volts = 1.15 + trial * 7 % 97 / 1000 + run / 1000
            lines.append(
                f"School {bench:05d},Team {team:06d},Rotor,{1 + week // 4},Bench {bench},"
                f"{at:%Y-%m-%dT%H:%MZ},record,i{trial},{run},{trial // TEAMS % 12 + 6},30.1,yes,"
                f"{volts:.3f},4.1,21.5,950,45,6,yes"
            )
    return "\n".join(lines).encode()


def rows(scale: str) -> Iterator[Row]:
    """Yield the import against `executemany` and COPY of its rows, and the plain route."""
    body = sheet(READINGS)
    url = copied("club")
    with ours(url) as (service, key):
        client, idle = Client(service.url, key), peak_mb(service)
        started = time.perf_counter()
        client.ask("POST", "/v1/imports", body, "text/csv")
        taken = time.perf_counter() - started
        grown = peak_mb(service) - idle
    work = f"import of {READINGS:,} readings"
    yield Row(f"{work}, SQLite", taken, "executemany", _bare(url), 3)
    yield Row(work, taken, "plain route", _plainly(), 8, at_least=True)
    most = 4 * len(body) / 1e6 + 150
    yield Row(f"{work}, over idle", grown, "4 × upload + 150 MB", most, 1, unit="MB")
    with fresh("postgresql") as (_, server):
        yield Row(f"{work}, PostgreSQL", _on_server(server, body), "bare COPY",
                  _copied_in(server), 5)  # fmt: skip


def _bare(url: str) -> float:
    """Return the seconds that inserting the same rows takes, nothing else done."""
    source = sqlite3.connect(url.removeprefix("sqlite:///"))
    target_path = folder() / "bare.db"
    upgrade(f"sqlite:///{target_path}")
    target = sqlite3.connect(target_path, isolation_level=None)
    target.execute("PRAGMA synchronous = FULL")
    tables = {name: source.execute(f'SELECT * FROM "{name}"').fetchall() for name in STORED}
    started = time.perf_counter()
    target.execute("BEGIN IMMEDIATE")
    for name, stored in tables.items():
        marks = ", ".join("?" * len(stored[0])) if stored else ""
        if stored:
            target.executemany(f'INSERT INTO "{name}" VALUES ({marks})', stored)
    target.execute("COMMIT")
    return time.perf_counter() - started


def _plainly() -> float:
    """Return the seconds of the plain route, scaled up from fewer rows."""
    lines = [PLAIN_HEAD]
    for at in range(PLAIN_ROWS):
        volts = 1.1 + at % 97 / 1000
        lines.append(f"s{at % 200},b{at % 50},record,c{at},{at % 30},30.1,4.1,21.5,950,{volts}")
    with plain(f"sqlite:///{folder()}/plain-import.db") as url:
        started = time.perf_counter()
        Client(url).ask("POST", "/imports", "\n".join(lines).encode(), "text/csv")
        return (time.perf_counter() - started) * READINGS / PLAIN_ROWS


def _on_server(server: str, body: bytes) -> float:
    from tests.bench.filled import fill_server

    fill_server(server)
    with ours(server) as (service, key):
        started = time.perf_counter()
        Client(service.url, key).ask("POST", "/v1/imports", body, "text/csv")
        return time.perf_counter() - started


def _copied_in(server: str) -> float:
    """Return the seconds that COPY takes for the same trials and runs into tables like them."""
    engine = create_engine(server)
    connection: Any = engine.raw_connection().driver_connection
    taken = 0.0
    for name in STORED:
        with connection.cursor().copy(f'COPY "{name}" TO STDOUT') as copy:
            text = b"".join(bytes(each) for each in copy)
        connection.execute(f'CREATE TABLE "copy_{name}" (LIKE "{name}" INCLUDING ALL)')
        connection.commit()
        started = time.perf_counter()
        with connection.cursor().copy(f'COPY "copy_{name}" FROM STDIN') as copy:
            copy.write(text)
        connection.commit()
        taken += time.perf_counter() - started
    engine.dispose()
    return taken

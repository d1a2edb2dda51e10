"""A database with a drawn season of any size, written by the driver: quick to make, never measured.

Five teams share a bench, each school has one; the reference rotor ran three times at every bench.
"""

import datetime as dt
import tempfile
from collections.abc import Iterable
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from sqlalchemy import Connection, create_engine
from sqlmodel import Session, col

from analysis.trials.results import trial_results
from api.migrate import upgrade
from api.models.trials.trials import Trial
from api.services.measurements import flags, results, season_trials
from api.services.measurements.frames import read_frame
from tests.bench.columns import BUILDS, SCALES, SESSIONS, TEAMS_OF_A_BENCH, season_columns

AT_ONCE = 50_000
WEEK = dt.timedelta(weeks=1)
MADE_AT = "2026-01-10 08:00:00.000000"
STARTS = dt.datetime(2026, 2, 2, 9, tzinfo=dt.UTC)


def public_id(prefix: str, number: int) -> str:
    """Return an id of the public form that tells a number."""
    return f"{prefix}_{number:026d}"


SEASON = public_id("sea", 1)


@cache
def folder() -> Path:
    """Return the folder of this run's databases; it goes with the run."""
    temporary = tempfile.TemporaryDirectory(prefix="gustbook-bench-")
    _OPEN_FOLDERS.append(temporary)
    return Path(temporary.name)


#: Kept open, because a temporary folder is removed when its object is.
_OPEN_FOLDERS: list[Any] = []


def fill_server(database_url: str) -> None:
    """Put a club's season into an empty database of a server."""
    engine = create_engine(database_url)
    with engine.begin() as connection:
        fill(connection, *SCALES["club"])
    engine.dispose()


@cache
def season_url(scale: str) -> str:
    """Return the address of a database that holds a season of that scale."""
    path = folder() / f"{scale}.db"
    url = f"sqlite:///{path}"
    if not path.exists():
        upgrade(url)
        engine = create_engine(url)
        with engine.begin() as connection:
            fill(connection, *SCALES[scale])
        with engine.connect() as connection:
            connection.exec_driver_sql("ANALYZE")
        engine.dispose()
    return url


def fill(connection: Connection, trials: int, teams: int) -> None:
    """Write a season with its schools, teams, builds, benches, sessions, trials and runs."""
    benches = -(-teams // TEAMS_OF_A_BENCH)
    _put(connection, "season", [_row(SEASON, name="Drawn", starts_on="2026-02-01",
         ends_on="2026-07-31", timezone="UTC", reference_wind_speed_m_s=4.0,
         reference_air_density_kg_m3=1.225, revision=1)])  # fmt: skip
    _put(connection, "organisation", (
        _row(public_id("org", each), name=f"School {each:05d}", sharing="named", altitude_m=540.0)
        for each in range(benches)))  # fmt: skip
    _put(connection, "equipment", [
        _row(public_id("eqp", 1), kind="fan", tag="F", spec='{"diameter_m": 0.5}', condition="good",
             spares=0),
        _row(public_id("eqp", 2), kind="anemometer", tag="A", spec='{"type": "vane"}',
             condition="good", spares=0)])  # fmt: skip
    _put(connection, "team", (
        _row(public_id("team", each), organisation_id=_school(each), season_id=SEASON,
             name=f"Team {each:06d}") for each in range(teams)))  # fmt: skip
    _put_machines(connection, teams)
    _put(connection, "bench", (
        _row(public_id("bch", each), organisation_id=public_id("org", each), name=f"Bench {each}",
             fan_id=public_id("eqp", 1), fan_setting="2", distance_m=0.9,
             anemometer_id=public_id("eqp", 2)) for each in range(benches)))  # fmt: skip
    _put(connection, "session", (_session(bench, week) for bench in range(benches)
                                 for week in range(SESSIONS)))  # fmt: skip
    _put_trials(connection, *season_columns(trials, teams))
    _put_references(connection, benches)
    _put_results(connection)


def _put_results(connection: Connection) -> None:
    """Keep results, as they are once their benches were checked."""
    with Session(connection) as db:
        for here in season_trials.parts_of(db, col(Trial.season_id) == SEASON):
            frame = read_frame(db, *here, flags.not_withdrawn)
            results.store(
                db, results.rows_of(frame, trial_results(frame.trials, frame.runs)), *here
            )


def _put_machines(connection: Connection, teams: int) -> None:
    own = {"gear_ratio": 1.0, "name": "Rotor"}
    _put(connection, "turbine", (
        _row(public_id("turb", each), team_id=public_id("team", each),
             organisation_id=_school(each), **own) for each in range(teams)))  # fmt: skip
    _put(connection, "turbine", [_row(public_id("turb", 10**9), team_id=None, organisation_id=None,
                                      gear_ratio=1.0, name="Reference")])  # fmt: skip
    shape = {"rotor_diameter_m": 0.45, "blade_count": 3}
    _put(connection, "build", (
        _row(public_id("bld", team * BUILDS + each), turbine_id=public_id("turb", team),
             organisation_id=_school(team), number=each + 1, assigned_power_w=None, **shape)
        for team in range(teams) for each in range(BUILDS)))  # fmt: skip
    _put(connection, "build", [_row(public_id("bld", 10**9), turbine_id=public_id("turb", 10**9),
         organisation_id=None, number=1, assigned_power_w=0.05, **shape)])  # fmt: skip


def _school(team: int) -> str:
    return public_id("org", team // TEAMS_OF_A_BENCH)


def _session(bench: int, week: int) -> dict[str, Any]:
    started = STARTS + dt.timedelta(weeks=week, minutes=bench % 300)
    return _row(public_id("ses", bench * SESSIONS + week), bench_id=public_id("bch", bench),
                season_id=SEASON, organisation_id=public_id("org", bench),
                started_at=started.strftime("%Y-%m-%d %H:%M:%S.000000"), air_temperature_c=21.5,
                pressure_hpa=950.0, relative_humidity_pct=45.0, wind_speed_start_m_s=4.1,
                warm_up_min=6.0, adult_present=True)  # fmt: skip


def _put_trials(connection: Connection, trials: dict[str, Any], runs: dict[str, Any]) -> None:
    """Write the trials in the order in which they were run, as a season grows."""
    numbers = {name: [int(each.partition("_")[2]) for each in trials[name].tolist()]
               for name in ("team_id", "build_id", "session_id")}  # fmt: skip
    order = np.argsort(trials["started_at"], kind="stable")
    place = np.empty(len(order), dtype=np.int64)
    place[order] = np.arange(len(order))
    wind = trials["wind_speed_m_s"].tolist()
    _put(connection, "trial", (
        _trial(at, _school(numbers["team_id"][of]), numbers["session_id"][of],
               public_id("bld", numbers["build_id"][of]), "record", wind[of])
        for at, of in enumerate(order.tolist())))  # fmt: skip
    volts = runs["voltage_v"].reshape(-1, 3)[order].tolist()
    _put(connection, "run", (_run(at, number, each) for at, three in enumerate(volts)
                             for number, each in enumerate(three, start=1)))  # fmt: skip


def _put_references(connection: Connection, benches: int) -> None:
    """Write three runs of the reference rotor in the middle session of each bench."""
    rows = [(10**9 + 3 * bench + each, bench) for bench in range(benches) for each in range(3)]
    _put(connection, "trial", (
        _trial(at, public_id("org", bench), bench * SESSIONS + SESSIONS // 2,
               public_id("bld", 10**9), "reference", 4.1) for at, bench in rows))  # fmt: skip
    volts = np.random.default_rng(5).normal(1.23, 0.03, len(rows)).tolist()
    _put(connection, "run", (_run(at, 1, each)
                             for (at, _), each in zip(rows, volts, strict=True)))  # fmt: skip


def _trial(at: int, school: str, session: int, build: str, kind: str, wind: float) -> dict:
    return _row(public_id("trl", at), session_id=public_id("ses", session), build_id=build,
                kind=kind, organisation_id=school, season_id=SEASON,
                state="withdrawn" if at % 100 == 99 else "accepted",
                load_ohm=30.1, load_connected=True, meter_range_v=2.0, wind_speed_m_s=wind,
                pitch_deg=12.0, client_ref=f"t-{at}", submitted_digest=f"{at:064d}")  # fmt: skip


def _run(trial: int, number: int, volts: float) -> dict[str, Any]:
    return {"trial_id": public_id("trl", trial), "number": number, "voltage_v": volts,
            "duration_s": 30.0, "as_typed": "{}"}  # fmt: skip


def _row(row_id: str, **facts: Any) -> dict[str, Any]:
    return {"id": row_id, "version": 1, "created_at": MADE_AT, "as_typed": "{}"} | facts


def _put(connection: Connection, table: str, rows: Iterable[dict[str, Any]]) -> None:
    """Insert rows of one shape, many at once."""
    part: list[tuple[Any, ...]] = []
    statement = ""
    for row in rows:
        if not statement:
            mark = "?" if connection.dialect.name == "sqlite" else "%s"
            names, marks = ", ".join(row), ", ".join([mark] * len(row))
            statement = f'INSERT INTO "{table}" ({names}) VALUES ({marks})'
        part.append(tuple(row.values()))
        if len(part) == AT_ONCE:
            connection.exec_driver_sql(statement, part)
            part = []
    if part:
        connection.exec_driver_sql(statement, part)

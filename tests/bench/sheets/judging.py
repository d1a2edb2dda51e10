"""Send sheets to the real service, and compare each stored value with its truth."""

import math
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import FastAPI
from fastapi.testclient import TestClient

from api.main import bind, create_app
from api.migrate import upgrade
from api.settings import Settings
from tests.bench.sheets.words import LEVEL, NO_VALUE, XLSX_TYPE, ZONES, Fact, Sheet
from tests.support.databases import ADDRESS, make_lead_key, signer
from tests.support.makers import World, make_world


@dataclass(frozen=True)
class Verdict:
    """One value of a sheet, what was stored for it, and whether that is right, asked or wrong."""

    fact: Fact
    outcome: str
    stored: Any = None


class Imports:
    """The real service; each sheet is imported into a database of its own."""

    def __init__(self, app: FastAPI, folder: Path, world: World) -> None:
        self.app, self.folder, self.world = app, folder, world

    def verdicts(self, sheet: Sheet) -> list[Verdict]:
        """Import a sheet and judge each of its values."""
        database = self.folder / "sheet.db"
        shutil.copy(self.folder / f"{ZONES.index(sheet.habits.zone)}.db", database)
        bind(self.app, Settings(database_url=f"sqlite:///{database}"))
        key = self.world.larch.coach_key
        with TestClient(self.app, base_url=ADDRESS, headers={"Authorization": f"Bearer {key}"},
                        raise_server_exceptions=False) as client:  # fmt: skip
            self.answer = send(client, sheet)
            if self.answer.status_code >= 500:
                failed = Fact("", "file", 0, NO_VALUE, "the file")
                return [Verdict(failed, "wrong", f"the service failed: {self.answer.text}")]
            return list(judged(sheet, stored_trials(client), refused_rows(self.answer)))


@contextmanager
def running_imports() -> Iterator[Imports]:
    """Start the service over temporary databases, one for each time zone of a school."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        first = folder / "0.db"
        upgrade(f"sqlite:///{first}")
        app = create_app(Settings(database_url=f"sqlite:///{first}"))
        with TestClient(app, base_url=ADDRESS) as client:
            signed = signer(client)
            world = make_world(make_lead_key(client), signed)
        for number, zone in enumerate(ZONES[1:], start=1):
            shutil.copy(first, folder / f"{number}.db")
            _move_school(app, folder / f"{number}.db", world, zone)
        yield Imports(app, folder, world)


def _move_school(app: FastAPI, database: Path, world: World, zone: str) -> None:
    bind(app, Settings(database_url=f"sqlite:///{database}"))
    with TestClient(app, base_url=ADDRESS) as client:
        lead = signer(client)(world.lead_key)
        path = f"/v1/organisations/{world.larch.organisation_id}"
        etag = lead.get(path).headers["ETag"]
        answer = lead.patch(path, json={"timezone": zone}, headers={"If-Match": etag})
        assert answer.status_code == 200, answer.text


def send(client: TestClient, sheet: Sheet) -> Any:
    """Send a sheet so that its good rows are stored."""
    kind = XLSX_TYPE if sheet.habits.is_workbook else "text/csv"
    return client.post("/v1/imports", params={"mode": "partial"}, content=sheet.content,
                         headers={"Content-Type": kind})  # fmt: skip


def stored_trials(client: TestClient) -> dict[str, dict[str, Any]]:
    """Return the stored trials except the world's own, by client_ref, with their sessions."""
    items = client.get("/v1/trials", params={"limit": 200}).json()["items"]
    trials = {}
    for number, item in enumerate(items):
        if item["client_ref"] != "first":
            session = client.get(f"/v1/sessions/{item['session_id']}").json()
            trials[item["client_ref"] or f"without a name {number}"] = item | {"session": session}
    return trials


def refused_rows(answer: Any) -> set[int]:
    """Return the numbers of the rows that an import named as wrong."""
    rows = answer.json().get("rows", [])
    return {row["row"] for row in rows if row["outcome"] == "error"}


def judged(sheet: Sheet, trials: dict[str, dict[str, Any]], refused: set[int]) -> Iterator[Verdict]:
    """Yield a verdict for each value, and for each trial that the sheet does not mean."""
    for fact in sheet.facts:
        trial = trials.get(fact.trial)
        if trial is None or trial["state"] == "held":
            yield Verdict(fact, "asked")
            continue
        stored = stored_value(trial, fact)
        if is_refused_run(sheet, fact, stored, refused):
            yield Verdict(fact, "asked")
            continue
        is_right = agrees(fact, stored, ZoneInfo(sheet.habits.zone))
        yield Verdict(fact, "right" if is_right else "wrong", stored)
    for ref in sorted(trials.keys() - sheet.trials):
        unmeant = Fact(ref, "trial", 0, NO_VALUE, "a row that is hidden, or no row at all")
        yield Verdict(unmeant, "wrong", ref)


def is_refused_run(sheet: Sheet, fact: Fact, stored: Any, refused: set[int]) -> bool:
    """Tell whether a run is missing because its row was named as wrong."""
    rows = {
        run: number for (trial, run), number in sheet.row_numbers.items() if trial == fact.trial
    }
    if fact.name == "runs":
        return stored != fact.truth and bool(refused & set(rows.values()))
    return stored is None and rows.get(fact.run) in refused


def stored_value(trial: dict[str, Any], fact: Fact) -> Any:
    """Return the stored value of a fact: of its run, its trial or its session."""
    if fact.name == "runs":
        return len(trial["runs"])
    if LEVEL[fact.name] == "session":
        name = "started_at" if fact.name == "session_started_at" else fact.name
        return trial["session"][name]
    if LEVEL[fact.name] == "trial":
        return trial[fact.name]
    runs = {run["number"]: run for run in trial["runs"]}
    of_run = runs.get(fact.run, {}).get(fact.name)
    if of_run is None and fact.name == "wind_speed_m_s" and fact.truth is not None:
        return trial["wind_speed_m_s"] or trial["session"]["wind_speed_start_m_s"]
    return of_run


def agrees(fact: Fact, stored: Any, zone: ZoneInfo) -> bool:
    """Tell whether what is stored is the truth."""
    if fact.truth is NO_VALUE or fact.truth is None:
        return stored is None
    if stored is None or isinstance(fact.truth, bool):
        return stored is fact.truth
    if isinstance(fact.truth, datetime):
        return datetime.fromisoformat(stored) == fact.truth
    if isinstance(fact.truth, date):
        return datetime.fromisoformat(stored).astimezone(zone).date() == fact.truth
    # The sign of a voltage does not matter: it tells only how the leads were held.
    value = abs(stored) if fact.name == "voltage_v" else stored
    return math.isclose(value, fact.truth, rel_tol=1e-6, abs_tol=1e-9)


# The report -------------------------------------------------------------------------------------

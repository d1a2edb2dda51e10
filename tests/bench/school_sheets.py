"""Draw sheets as schools keep them, import each one, and compare what was stored with its trials.

Usage: python -m tests.bench.school_sheets [--sheets 2000] [--seed 1] [--only NUMBER]

A sheet is taken if its trials are stored, with no question or with one screen of them; it may be
refused with the place and what to do; but nothing of it may be stored wrong. The command ends with
1 if anything is, or if fewer than 90 % of the sheets are taken.
"""

import argparse
import json
import math
import shutil
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from fastapi.testclient import TestClient

from api.main import bind
from api.settings import Settings
from tests.bench.school_sheet.drawing import SchoolSheet, Trial, draw_sheet
from tests.bench.sheets.judging import running_imports
from tests.bench.sheets.words import XLSX_TYPE
from tests.support.databases import ADDRESS
from tests.support.makers import build_payload, created

TEAMS = {"Larch one": 1, "Larch two": 1}
LEAST_TAKEN = 0.90
MOST_LISTED = 12


@dataclass
class Report:
    """How many sheets had which outcome, and the first of those that are not as they should be."""

    outcomes: Counter[str] = field(default_factory=Counter)
    by_oddity: dict[str, Counter[str]] = field(default_factory=dict)
    listed: list[str] = field(default_factory=list)

    def add(self, sheet: SchoolSheet, outcome: str, why: str) -> None:
        """Count a sheet; note why it was not taken."""
        self.outcomes[outcome] += 1
        for oddity in sheet.oddities:
            self.by_oddity.setdefault(oddity, Counter())[outcome] += 1
        if outcome in ("wrong", "refused") and len(self.listed) < MOST_LISTED:
            self.listed.append(f"sheet {sheet.number}, {outcome}: {why}")

    @property
    def taken(self) -> float:
        """Return the share of sheets that were stored, with one question or none."""
        good = self.outcomes["no question"] + self.outcomes["one question"]
        return good / max(1, self.outcomes.total())

    def show(self) -> None:
        """Print the table."""
        names = ("no question", "one question", "refused", "wrong")
        print(f"{'sheets':14}" + "".join(f"{name:>14}" for name in names))
        for oddity, counts in sorted(self.by_oddity.items()):
            print(f"{oddity:14}" + "".join(f"{counts[name]:14}" for name in names))
        print(f"{'all':14}" + "".join(f"{self.outcomes[name]:14}" for name in names))
        print(f"taken: {100 * self.taken:.1f} %")
        for line in self.listed:
            print(line)


class Schools:
    """A running service with two teams of one school; each sheet has a database of its own."""

    def __init__(self, imports: Any) -> None:
        self.app, self.folder, self.world = imports.app, imports.folder, imports.world
        with self.client("0.db") as coach:
            larch = self.world.larch
            team = {"organisation_id": larch.organisation_id, "season_id": larch.season_id}
            two = created(coach.post("/v1/teams", json=team | {"name": "Larch two"}))["id"]
            turbine = {"team_id": two, "name": "Gust"}
            turbine_id = created(coach.post("/v1/turbines", json=turbine))["id"]
            created(coach.post("/v1/builds", json=build_payload(turbine_id)))

    @contextmanager
    def client(self, database: str) -> Iterator[TestClient]:
        """Give the coach's client of a database."""
        bind(self.app, Settings(database_url=f"sqlite:///{self.folder / database}"))
        key = {"Authorization": f"Bearer {self.world.larch.coach_key}"}
        with TestClient(self.app, base_url=ADDRESS, headers=key) as client:
            yield client

    def outcome(self, sheet: SchoolSheet) -> tuple[str, str]:
        """Import a sheet as a person would; return its outcome and why."""
        shutil.copy(self.folder / "0.db", self.folder / "sheet.db")
        with self.client("sheet.db") as client:
            answer, questions = _imported(client, sheet)
            if answer.status_code != 201:
                return "refused", answer.text[:600]
            wrong = list(_differences(sheet.trials, _stored(client)))
        if wrong:
            return "wrong", "; ".join(wrong[:3])
        return ("one question" if questions else "no question"), ""


def _imported(client: TestClient, sheet: SchoolSheet) -> tuple[Any, bool]:
    """Try a sheet, answer what is asked about it once, and store it."""
    tried = _send(client, sheet, {}, dry_run=True)
    if tried.status_code != 200:
        return tried, False
    understood, errors = tried.json()["understood"], tried.json()["outcomes"]["error"]
    if not errors:
        return _send(client, sheet, {}), False
    names = {"connected": "load_connected", "adult": "adult_present", "clock": "time_of_day",
             "bench": "bench"}  # fmt: skip
    same = {names[name]: text for name, text in sheet.lacks.items()
            if names[name] in understood.get("asks_same", ())}  # fmt: skip
    chosen: dict[str, Any] = {"same": same} if same else {}
    if "asks_day_order" in understood:
        chosen["order"] = sheet.order
    return _send(client, sheet, chosen), True


def _send(client: TestClient, sheet: SchoolSheet, chosen: Any, *, dry_run: bool = False) -> Any:
    asked = {"dry_run": str(dry_run).lower()} | ({"mapping": json.dumps(chosen)} if chosen else {})
    kind = XLSX_TYPE if sheet.is_workbook else "text/csv"
    return client.post("/v1/imports", params=asked, content=sheet.content,
                       headers={"Content-Type": kind})  # fmt: skip


def _stored(client: TestClient) -> list[dict[str, Any]]:
    """Return the stored trials but the world's own, with their teams, builds and sessions."""
    trials = client.get("/v1/trials?limit=200").json()["items"]
    found = []
    for trial in trials:
        if trial["client_ref"] == "first":
            continue
        session = client.get(f"/v1/sessions/{trial['session_id']}").json()
        build = client.get(f"/v1/builds/{trial['build_id']}").json()
        turbine = client.get(f"/v1/turbines/{build['turbine_id']}").json()
        team = client.get(f"/v1/teams/{turbine['team_id']}").json()
        found.append(trial | {"session": session, "team": team["name"], "build": build["number"]})
    return found


def _differences(meant: list[Trial], stored: list[dict[str, Any]]) -> Iterator[str]:
    """Yield what is stored otherwise than it was meant."""
    if len(meant) != len(stored):
        yield f"{len(stored)} trials stored, {len(meant)} meant"
        return
    rest = list(stored)
    for trial in meant:
        match = next((each for each in rest if _is_same(trial, each)), None)
        if match is None:
            near = next((each for each in rest if each["team"] == trial.team
                         and each["pitch_deg"] == trial.pitch), rest[0])  # fmt: skip
            yield f"meant {trial}, stored {_facts(near)}"
        else:
            rest.remove(match)


def _facts(stored: dict[str, Any]) -> dict[str, Any]:
    runs = stored["runs"]
    return {
        "team": stored["team"], "build": stored["build"], "pitch": stored["pitch_deg"],
        "load": stored["load_ohm"], "volts": [run["voltage_v"] for run in runs],
        "wind": [run["wind_speed_m_s"] for run in runs],
        "air": stored["session"]["air_temperature_c"],
        "started_at": stored["session"]["started_at"],
    }  # fmt: skip


def _is_same(meant: Trial, stored: dict[str, Any]) -> bool:
    facts = _facts(stored)
    numbers = [(facts["pitch"], meant.pitch), (facts["load"], meant.load)]
    numbers += list(zip(sorted(facts["volts"]), sorted(meant.volts), strict=False))
    winds = [each for each in facts["wind"] if each is not None]
    numbers += [(each, meant.wind) for each in winds]
    return (
        (facts["team"], facts["build"]) == (meant.team, meant.build)
        and len(facts["volts"]) == len(meant.volts)
        and bool(winds)
        and datetime.fromisoformat(facts["started_at"]).replace(tzinfo=None) == meant.started_at
        and all(each is not None and math.isclose(each, truth, rel_tol=1e-6, abs_tol=1e-9)
                for each, truth in numbers)
    )  # fmt: skip


def try_sheets(schools: Schools, seed: int, numbers: Iterable[int]) -> Report:
    """Draw and import sheets of a seed."""
    report = Report()
    for number in numbers:
        sheet = draw_sheet(seed, number, TEAMS)
        report.add(sheet, *schools.outcome(sheet))
    return report


@contextmanager
def running_schools() -> Iterator[Schools]:
    """Give the service with its teams."""
    with running_imports() as imports:
        yield Schools(imports)


def main() -> int:
    """Print the report; return 1 if anything is wrong or too few sheets are taken."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sheets", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int)
    asked = parser.parse_args()
    numbers = [asked.only] if asked.only else range(1, asked.sheets + 1)
    if asked.only:
        print(draw_sheet(asked.seed, asked.only, TEAMS).preview)
    with running_schools() as schools:
        report = try_sheets(schools, asked.seed, numbers)
    report.show()
    return int(bool(report.outcomes["wrong"]) or report.taken < LEAST_TAKEN)


if __name__ == "__main__":
    raise SystemExit(main())

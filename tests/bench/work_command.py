"""Measure a club's report by a newly started script against a spreadsheet's recalculation."""

import shutil
import statistics
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

from openpyxl import Workbook

from tests.bench.columns import SCALES, season_columns
from tests.bench.filled import folder
from tests.bench.serving import copied, ours
from tests.bench.timing import REPEATS, Row


def rows(scale: str) -> Iterator[Row]:
    """Yield the script that fetches the report, against LibreOffice if it is installed."""
    with ours(copied("club")) as (service, key):
        taken = []
        for _ in range(REPEATS):
            started = time.perf_counter()
            done = service.run("scripts/season_report.py", "--format", "csv", key=key)
            taken.append(time.perf_counter() - started)
            assert done.returncode == 0, done.stderr
    office = shutil.which("soffice")
    if office is None:
        yield Row("club report as a cold command", statistics.median(taken),
                  "spreadsheet: not installed", statistics.median(taken), None)  # fmt: skip
        return
    book = sheet(folder() / "season.xlsx")
    theirs = _recalculated(office, book)
    yield Row("club report as a cold command", statistics.median(taken),
              "spreadsheet recalculated", theirs, 3, at_least=True)  # fmt: skip


def sheet(path: Path) -> Path:
    """Return a workbook that derives each trial's power and ranks teams, as clubs keep it."""
    trials, runs = season_columns(*SCALES["club"])
    volts = runs["voltage_v"].reshape(-1, 3)
    book = Workbook()
    facts = book.active
    facts.append(["team", "week", "wind", "temp", "hPa", "v1", "v2", "v3", "power", "density",
                  "normalised", "ln"])  # fmt: skip
    for at, team in enumerate(trials["team_id"].tolist()):
        row = at + 2
        facts.append([
            team, float(trials["started_at"][at] // 604_800), float(trials["wind_speed_m_s"][at]),
            float(trials["air_temperature_c"][at]), float(trials["pressure_hpa"][at]),
            *(float(each) for each in volts[at]),
            f"=(F{row}*G{row}*H{row})^(2/3)/30.1", f"=100*E{row}/287.05/(D{row}+273.15)",
            f"=I{row}*(4/C{row})^2.6*(1.225/J{row})^0.5", f"=LN(K{row})",
        ])  # fmt: skip
    last = facts.max_row
    ranking = book.create_sheet("ranking")
    teams = sorted(set(trials["team_id"].tolist()))
    for row, team in enumerate(teams, start=1):
        ranking.append([
            team, f"=AVERAGEIFS(Sheet!L$2:L${last},Sheet!A$2:A${last},A{row})",
            f"=MAXIFS(Sheet!K$2:K${last},Sheet!A$2:A${last},A{row})",
            f"=RANK(B{row},B$1:B${len(teams)})",
        ])  # fmt: skip
    book.active = 1
    book.save(path)
    return path


def _recalculated(office: str, book: Path) -> float:
    """Return the median seconds that opening, calculating and writing the sheet takes."""
    taken = []
    for _ in range(3):
        started = time.perf_counter()
        subprocess.run([office, "--headless", "--convert-to", "csv", "--outdir", str(book.parent),
                        str(book)], check=True, capture_output=True)  # fmt: skip
        taken.append(time.perf_counter() - started)
    return statistics.median(taken)

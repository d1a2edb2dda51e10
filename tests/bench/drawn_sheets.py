"""Draw spreadsheets whose truth is known, import each one, and compare what the service stored.

Usage: python -m tests.bench.drawn_sheets [--sheets 1000] [--seed 1] [--only NUMBER]

The truth of a sheet is what the person who made it means and sees. Each value must be stored right,
or be refused or asked about (a held trial is asked about). The command ends with 1 if a value is
stored wrong, or if fewer than 30 % of all values are stored right. The same seed always draws the
same sheets; `--only` draws one sheet of a seed again and prints its cells.
"""

import argparse
import csv
import io
import math
import random
import re
import shutil
import tempfile
import zipfile
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import FastAPI
from fastapi.testclient import TestClient
from openpyxl import Workbook
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import CALENDAR_MAC_1904, to_excel
from openpyxl.worksheet.worksheet import Worksheet

from api.main import bind, create_app
from api.migrate import upgrade
from api.settings import Settings
from tests.conftest import ADDRESS, make_lead_key, signer
from tests.makers import World, make_world

LEAST_RIGHT_SHARE = 0.30
MOST_LISTED = 20
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
ZONES = ("UTC", "Europe/Berlin", "America/New_York", "Asia/Kolkata")
ROTOR_DIAMETER_M = 0.45
FIRST_DAY = date(2026, 2, 3)


class Refusal:
    """The truth of a cell without a meaning: whatever is stored for it is wrong."""

    def __repr__(self) -> str:
        return "no value"


NO_VALUE = Refusal()

# What can be measured, and how people name it ---------------------------------------------------


@dataclass(frozen=True)
class Unit:
    """A unit of a quantity: SI value = (typed - zero) x factor; decimals as people write it."""

    column: str
    sign: str
    factor: float = 1.0
    zero: float = 0.0
    decimals: int = 1
    other_signs: tuple[str, ...] = ()

    def to_si(self, typed: Decimal) -> float:
        return (float(typed) - self.zero) * self.factor

    def from_si(self, value: float) -> float:
        return value / self.factor + self.zero


@dataclass(frozen=True)
class Quantity:
    """A quantity: its field in an answer, its label in a title, its units, its share of files."""

    name: str
    level: str
    label: str
    units: tuple[Unit, ...]
    share: float = 1.0


QUANTITIES = (
    Quantity("voltage_v", "run", "Voltage", (
        Unit("voltage_v", "V", decimals=2), Unit("voltage_mv", "mV", 1e-3, decimals=0))),
    Quantity("rotor_speed_rpm", "run", "Rotor speed", (
        Unit("rotor_speed_rpm", "rpm", decimals=0, other_signs=("1/min",)),
        Unit("rotor_speed_rad_s", "rad/s", 30 / math.pi), Unit("rotor_speed_hz", "Hz", 60.0)), 0.5),
    Quantity("wind_speed_m_s", "run", "Wind speed", (
        Unit("wind_speed_m_s", "m/s"), Unit("wind_speed_mph", "mph", 0.44704),
        Unit("wind_speed_km_h", "km/h", 1 / 3.6), Unit("wind_speed_kn", "kn", 1852 / 3600),
        Unit("wind_speed_ft_s", "ft/s", 0.3048),
        Unit("wind_speed_ft_min", "ft/min", 0.3048 / 60, decimals=0))),
    Quantity("duration_s", "run", "Duration", (Unit("duration_s", "s", decimals=0),), 0.3),
    Quantity("current_a", "run", "Current", (
        Unit("current_a", "A", decimals=4), Unit("current_ma", "mA", 1e-3)), 0.15),
    Quantity("load_ohm", "trial", "Load", (
        Unit("load_ohm", "Ohm", other_signs=("Ω", "ohm")),
        Unit("load_kohm", "kOhm", 1e3, decimals=3, other_signs=("kΩ",)))),
    Quantity("pitch_deg", "trial", "Pitch", (
        Unit("pitch_deg", "deg", other_signs=("°",)),), 0.6),
    Quantity("meter_range_v", "trial", "Meter range", (
        Unit("meter_range_v", "V"),), 0.4),
    Quantity("air_temperature_c", "session", "Temperature", (
        Unit("air_temperature_c", "°C", other_signs=("C",)),
        Unit("air_temperature_f", "°F", 1 / 1.8, 32.0, other_signs=("F",)),
        Unit("air_temperature_k", "K", 1.0, 273.15, 2)), 0.8),
    Quantity("pressure_hpa", "session", "Pressure", (
        Unit("pressure_hpa", "hPa", other_signs=("mbar",)),
        Unit("pressure_pa", "Pa", 0.01, decimals=0),
        Unit("pressure_kpa", "kPa", 10.0, decimals=2), Unit("pressure_mmhg", "mmHg", 1.33322387415),
        Unit("pressure_inhg", "inHg", 33.8638866667, decimals=2)), 0.8),
    Quantity("relative_humidity_pct", "session", "Humidity", (
        Unit("relative_humidity_pct", "%", decimals=0),), 0.7),
    Quantity("warm_up_min", "session", "Warm-up", (
        Unit("warm_up_min", "min"), Unit("warm_up_s", "s", 1 / 60, decimals=0)), 0.5),
)  # fmt: skip
OF_NAME = {quantity.name: quantity for quantity in QUANTITIES}
LEVEL = {quantity.name: quantity.level for quantity in QUANTITIES} | {
    "session_started_at": "session",
    "adult_present": "session",
    "load_connected": "trial",
}
#: Columns that a sheet has and nobody fills.
UNUSED_COLUMNS = ("note", "rotor_diameter_m", "trial_wind_speed_m_s", "pitch_after_deg")
TICKS = ("load_connected", "adult_present")
TICK_WORDS = (("yes", "no"), ("Yes", "No"), ("y", "n"), ("x", ""), ("X", ""), ("1", "0"),
              ("TRUE", "FALSE"), ("true", "false"))  # fmt: skip

# Cells, truths and sheets -----------------------------------------------------------------------


@dataclass(frozen=True)
class Cell:
    """A cell: what a person sees, and for a workbook the value below it and how it is shown."""

    text: str = ""
    value: Any = None
    number_format: str = "General"
    formula: str = ""
    cached: str | None = None
    cached_type: str = "n"

    def described(self, is_workbook: bool) -> str:
        if not is_workbook or (self.value is None and not self.formula):
            return repr(self.text)
        below = self.formula or repr(self.value)
        shown = "" if self.number_format == "General" else f" shown by {self.number_format!r}"
        return below + shown + (f" with result {self.cached!r}" if self.cached else "")


@dataclass(frozen=True)
class Typed:
    """A number as typed, in the unit that its writer means."""

    number: Decimal
    unit: Unit

    @property
    def truth(self) -> float:
        return self.unit.to_si(self.number)


@dataclass(frozen=True)
class Fact:
    """What must be stored for one value of a trial, and the cell it was typed in."""

    trial: str
    name: str
    run: int
    truth: Any
    typed: str
    oddity: str = ""


@dataclass(frozen=True)
class Column:
    """A column: what it holds, its unit, and its title."""

    name: str
    title: str
    unit: Unit | None = None


@dataclass
class Row:
    """A row of cells by column name; a decoy row is hidden and not meant."""

    cells: dict[str, Cell]
    trial: str = ""
    run: int = 0
    day: int = 0
    is_hidden: bool = False


@dataclass(frozen=True)
class Habits:
    """How the person who made the sheet writes."""

    is_workbook: bool
    zone: str
    decimal: str
    thousands: str
    tick: tuple[str, str]
    date_form: str
    delimiter: str
    encoding: str
    newline: str
    quoting: int


@dataclass
class Sheet:
    """A drawn spreadsheet: its bytes, what must be stored, and its oddities."""

    number: int
    habits: Habits
    oddities: tuple[str, ...]
    content: bytes
    facts: list[Fact]
    row_numbers: dict[tuple[str, int], int]
    preview: list[str]

    @property
    def kind(self) -> str:
        return "xlsx" if self.habits.is_workbook else "csv"

    @property
    def trials(self) -> set[str]:
        return {fact.trial for fact in self.facts}


# Oddities ---------------------------------------------------------------------------------------

#: Oddities of numbers: the quantities they are drawn for; empty: any.
NUMBER_ODDITIES: dict[str, tuple[str, ...]] = {
    "unit in cells": ("voltage_v", "wind_speed_m_s", "load_ohm", "air_temperature_c",
                      "pressure_hpa", "warm_up_min", "rotor_speed_rpm"),
    "percent sign": ("relative_humidity_pct",),
    "humidity as a fraction": ("relative_humidity_pct",),
    "other decimal sign in a column": ("voltage_v", "load_ohm", "wind_speed_m_s", "pressure_hpa"),
    "scientific notation": ("voltage_v", "load_ohm", "pressure_hpa", "rotor_speed_rpm"),
    "spaces around numbers": (),
    "minus sign": ("voltage_v",),
    "remark in a number": ("voltage_v", "load_ohm", "wind_speed_m_s"),
    "number turned into a date": ("voltage_v", "load_ohm", "pressure_hpa", "rotor_speed_rpm"),
    "tick in a number": ("voltage_v", "pitch_deg", "load_ohm"),
    "cells left empty": ("voltage_v", "rotor_speed_rpm", "pitch_deg", "wind_speed_m_s"),
}  # fmt: skip
WORKBOOK_NUMBER_ODDITIES: dict[str, tuple[str, ...]] = {
    "percent format": ("relative_humidity_pct",),
    "format that scales": ("voltage_v", "load_ohm", "pressure_hpa", "rotor_speed_rpm"),
    "unit in the format": ("voltage_v", "wind_speed_m_s", "load_ohm", "air_temperature_c",
                           "pressure_hpa"),
    "formula without a result": (),
    "formula with a result": (),
    "formula in error": ("voltage_v", "load_ohm"),
    "numbers as text": (),
    "time as a number": ("warm_up_min",),
}  # fmt: skip
SHEET_ODDITIES = (
    "thousands separators", "exactly three decimals", "units in titles", "columns of other units",
    "date without a time", "midnight", "empty ticks", "ticks that say no", "blank rows",
    "interleaved trials", "conditions typed once", "name typed once",
    "line above the titles",
)  # fmt: skip
CSV_ODDITIES = ("sep= line", "short rows", "decimal comma without quotes", "UTF-16",
                "byte order mark", "windows-1252", "everything quoted")  # fmt: skip
WORKBOOK_ODDITIES = (
    "date cells", "date cells without the time shown", "dates as serial numbers", "dates from 1904",
    "merged cells", "formula as a name", "hidden rows", "filtered rows", "rows of no height",
    "hidden column", "hidden sheet before", "sheet of words before",
)  # fmt: skip
#: Oddities for which a complete file or trial is refused as a rule.
HIDES_THE_REST = frozenset({
    "line above the titles", "date without a time", "midnight", "short rows",
    "decimal comma without quotes", "date cells without the time shown", "dates as serial numbers",
    "sheet of words before",
})  # fmt: skip
TEXT_DATES = ("iso", "iso T", "iso seconds", "iso offset", "iso Z", "dotted", "dotted short",
              "day/month", "month/day", "month/day 12 h", "month name", "Mar 5, 2026")  # fmt: skip
SLASHED = {"day/month": "%d/%m/%Y %H:%M", "month/day": "%m/%d/%Y %H:%M",
           "month/day 12 h": "%m/%d/%Y %I:%M %p"}  # fmt: skip
DATE_FORMATS = ("yyyy-mm-dd hh:mm", "d.m.yy h:mm", "dd/mm/yyyy hh:mm", "m/d/yyyy h:mm AM/PM")
DAY_FORMATS = ("yyyy-mm-dd", "d.m.yyyy", "m/d/yy", "d mmm")


def draw_sheet(seed: int, number: int) -> Sheet:
    """Return sheet `number` of a seed."""
    return _Drawing(random.Random(f"{seed}-{number}"), number).sheet()


class _Drawing:
    """One sheet while it is drawn."""

    def __init__(self, rng: random.Random, number: int) -> None:
        self.rng, self.number = rng, number
        is_workbook = rng.random() < 0.45
        self.oddities = self._draw_oddities(is_workbook)
        self.habits = self._draw_habits(is_workbook)
        self.columns: dict[str, Column] = {}
        self.targets: dict[str, str] = {}
        self.cell_share = rng.choice((1.0, 1.0, 0.4))
        self.rows: list[Row] = []
        self.facts: dict[tuple[str, str, int], Fact] = {}
        self.decimals: dict[str, int] = {}
        share_as_text = 0.5 if self.has("thousands separators") else 0.05
        self.text_columns = {name for name in OF_NAME if rng.random() < share_as_text}
        self.odd_tick = rng.choice(TICKS)
        self.is_native_date = rng.random() < 0.5 or self._has_native_date()
        self.day_format, self.moment_format = rng.choice(DAY_FORMATS), rng.choice(DATE_FORMATS)

    def has(self, oddity: str) -> bool:
        return oddity in self.oddities

    def _has_native_date(self) -> bool:
        return any("date cells" in oddity or "dates" in oddity for oddity in self.oddities)

    def _draw_oddities(self, is_workbook: bool) -> tuple[str, ...]:
        if self.rng.random() < 0.15:
            return ()
        own = [*WORKBOOK_NUMBER_ODDITIES, *WORKBOOK_ODDITIES] if is_workbook else [*CSV_ODDITIES]
        # Separators and three decimals are where one number has two meanings: drawn more often.
        often = ["thousands separators", "exactly three decimals", "units in titles"]
        common = [*SHEET_ODDITIES, *often, *NUMBER_ODDITIES]
        drawn = [
            *self.rng.sample(own, self.rng.randint(0, 2)),
            *self.rng.sample(common, self.rng.randint(0, 2)),
        ]
        # What refuses a complete file hides everything else in it: most of it is dropped again.
        drawn = [each for each in drawn if each not in HIDES_THE_REST or self.rng.random() < 0.3]
        return tuple(sorted(set(drawn)))

    def _draw_habits(self, is_workbook: bool) -> Habits:
        rng = self.rng
        decimal = rng.choice(".,")
        loose = self.has("decimal comma without quotes")
        separators = [" ", "\u2009", "\u00a0", "\u202f", "'", "\u2019"]
        other = "." if loose or decimal == "," else ","
        grouped = self.has("thousands separators")
        dates = TEXT_DATES if rng.random() < 0.15 else TEXT_DATES[:5]
        return Habits(
            is_workbook=is_workbook,
            zone=rng.choice(ZONES),
            decimal="," if loose else decimal,
            thousands=rng.choice([other, other, other, *separators]) if grouped else "",
            tick=rng.choice(TICK_WORDS),
            date_form=rng.choice(dates),
            delimiter="," if loose else rng.choice(",,;;\t|" if decimal == "." else ",;;;\t|"),
            encoding=self._draw_encoding(),
            newline=rng.choice(("\n", "\r\n")),
            quoting=csv.QUOTE_ALL if self.has("everything quoted") else csv.QUOTE_MINIMAL,
        )

    def _draw_encoding(self) -> str:
        if self.has("UTF-16"):
            return self.rng.choice(("utf-16-le", "utf-16-be"))
        if self.has("windows-1252"):
            return "cp1252"
        return "utf-8-sig" if self.has("byte order mark") else "utf-8"

    def sheet(self) -> Sheet:
        """Return the sheet, its truth and its bytes."""
        self._draw_columns()
        self._draw_rows()
        self._arrange_rows()
        names = [*self.columns]
        content = (
            self._workbook(names) if self.habits.is_workbook else self._encoded(self._lines(names))
        )
        facts = list(self.facts.values())
        numbers = {(row.trial, row.run): number for number, row in enumerate(self.rows, start=2)
                   if row.trial and not row.is_hidden}  # fmt: skip
        return Sheet(self.number, self.habits, self.oddities, content, facts, numbers,
                     self._preview(names))  # fmt: skip

    # Columns and titles

    def _draw_columns(self) -> None:
        optional = [name for name in ("organisation", "turbine", "bench", "kind", "run", "note")
                    if self.rng.random() < 0.4]  # fmt: skip
        named = ["team", "build", "session_started_at", "client_ref", *TICKS, *optional]
        columns = [Column(name, self._plain_title(name)) for name in named]
        for quantity in QUANTITIES:
            if self.rng.random() < quantity.share:
                columns.append(self._number_column(quantity))
        if self.rng.random() < 0.5:
            self.rng.shuffle(columns)
        if self.has("short rows"):
            columns = [*(c for c in columns if c.name != "note"), Column("note", "note")]
        if self.has("decimal comma without quotes"):
            columns = self._few_with_empty_end(columns)
        self.columns = {column.name: column for column in columns}
        self._aim_oddities()

    def _few_with_empty_end(self, columns: list[Column]) -> list[Column]:
        """Return what a trial needs, then unused columns as in the template, which stay empty."""
        needed = ("team", "build", "session_started_at", "client_ref", *TICKS, "load_ohm",
                  "voltage_v", "wind_speed_m_s")  # fmt: skip
        kept = [column for column in columns if column.name in needed]
        return kept + [Column(name, name) for name in UNUSED_COLUMNS[: self.rng.randint(1, 4)]]

    def _plain_title(self, name: str) -> str:
        forms = (name, name, name.replace("_", " "), name.replace("_", " ").capitalize())
        return self.rng.choice(forms)

    def _number_column(self, quantity: Quantity) -> Column:
        has_unit_title = self.has("units in titles") and self.rng.random() < 0.7
        may_differ = has_unit_title or self.has("columns of other units")
        unit = self.rng.choice(quantity.units) if may_differ else quantity.units[0]
        if self.has("thousands separators") and self.rng.random() < 0.5:
            unit = max(quantity.units, key=lambda each: 1 / each.factor)
        self.decimals[quantity.name] = self._draw_decimals(unit)
        if not has_unit_title:
            return Column(quantity.name, self._plain_title(unit.column), unit)
        sign = self.rng.choice((unit.sign, *unit.other_signs))
        label = self.rng.choice((quantity.label, quantity.label.lower()))
        brackets = self.rng.choice(("()", "()", "()", "[]"))
        return Column(quantity.name, f"{label} {brackets[0]}{sign}{brackets[1]}", unit)

    def _draw_decimals(self, unit: Unit) -> int:
        if self.has("exactly three decimals"):
            return 3
        return max(0, min(4, unit.decimals + self.rng.choice((-1, 0, 0, 0, 1, 2))))

    def _aim_oddities(self) -> None:
        for oddity, names in (NUMBER_ODDITIES | WORKBOOK_NUMBER_ODDITIES).items():
            present = [name for name in (names or OF_NAME) if name in self.columns]
            if self.has(oddity) and present:
                self.targets[oddity] = self.rng.choice(present)

    # Values and their truth

    def _draw_rows(self) -> None:
        days = self.rng.sample(range(100), self.rng.choice((1, 1, 2)))
        for day in days:
            started = self._draw_time(day)
            shared = self._draw_conditions()
            for _ in range(self.rng.randint(1, 2)):
                self._draw_trial(day, started, shared)

    def _draw_time(self, day: int) -> datetime:
        clock = time(self.rng.randint(8, 18), self.rng.choice((0, 5, 15, 30, 45)))
        if self.has("midnight"):
            clock = time(0, 0)
        return datetime.combine(FIRST_DAY + timedelta(days=day), clock)

    def _draw_conditions(self) -> dict[str, Typed]:
        drawn = {"air_temperature_c": self.rng.uniform(16, 28),
                 "pressure_hpa": self.rng.uniform(935, 968),
                 "relative_humidity_pct": self.rng.uniform(25, 70),
                 "warm_up_min": self.rng.uniform(5, 15)}  # fmt: skip
        return {name: self._type(name, value) for name, value in drawn.items()
                if name in self.columns}  # fmt: skip

    def _draw_trial(self, day: int, started: datetime, shared: dict[str, Typed]) -> None:
        ref = f"s{self.number}-{len({row.trial for row in self.rows}) + 1}"
        rng = self.rng
        load_ohm = rng.uniform(1000, 3000) if rng.random() < 0.3 else 10 ** rng.uniform(0.7, 2.4)
        power_w = rng.uniform(0.01, 0.03) if load_ohm > 500 else rng.uniform(0.01, 0.25)
        volts, wind = math.sqrt(power_w * load_ohm), rng.uniform(3.4, 4.8)
        rpm = 60 * rng.uniform(1.2, 5.8) * wind / (math.pi * ROTOR_DIAMETER_M)
        fixed = {"load_ohm": load_ohm, "pitch_deg": rng.uniform(5, 30),
                 "meter_range_v": 2 if volts < 1.8 else 20}  # fmt: skip
        of_trial = shared | {name: self._type(name, value) for name, value in fixed.items()
                             if name in self.columns}  # fmt: skip
        is_steady = rng.random() < 0.3
        runs = rng.randint(1, 3)
        for run in range(1, runs + 1):
            spread = 1.0 if is_steady else rng.uniform(0.99, 1.01)
            of_run = {"voltage_v": volts * spread, "rotor_speed_rpm": rpm * spread,
                      "wind_speed_m_s": wind * (1 if is_steady else rng.uniform(0.99, 1.01)),
                      "duration_s": rng.uniform(20, 60), "current_a": volts / load_ohm}  # fmt: skip
            typed = of_trial | {name: self._type(name, value) for name, value in of_run.items()
                                if name in self.columns}  # fmt: skip
            self._draw_row(ref, run, day, started, typed)
        self._note(ref, "runs", 0, runs, f"{runs} rows")

    def _type(self, name: str, si_value: float) -> Typed:
        """Return a number as its writer types it: decimals of the column, two digits at least."""
        unit = self.columns[name].unit
        assert unit is not None
        if name in (self.targets.get("unit in cells"), self.targets.get("unit in the format")) \
                and self.rng.random() < 0.3:  # fmt: skip
            unit = self.rng.choice(OF_NAME[name].units)
        if self.targets.get("time as a number") == name:
            return Typed(Decimal(round(si_value)), OF_NAME[name].units[0])
        value = unit.from_si(si_value)
        least = 1 - math.floor(math.log10(abs(value)))
        decimals = max(least, self.decimals[name]) if value < 10 else self.decimals[name]
        return Typed(Decimal(f"{value:.{min(4, decimals)}f}"), unit)

    def _note(
        self, ref: str, name: str, run: int, truth: Any, typed: str, oddity: str = ""
    ) -> None:
        """Note a truth; a cell without a meaning outweighs others, an empty one is outweighed."""
        key = (ref, name, run)
        before = self.facts.get(key)
        if before and (before.truth is NO_VALUE or (truth is None and before.truth is not None)):
            return
        self.facts[key] = Fact(ref, name, run, truth, typed, oddity)

    # Cells

    def _draw_row(
        self, ref: str, run: int, day: int, started: datetime, typed: dict[str, Typed]
    ) -> None:
        cells = {"team": Cell("Larch one"), "build": self._count_cell(1),
                 "client_ref": Cell(ref),
                 "organisation": Cell("Larch school"), "turbine": Cell("Whirl"),
                 "kind": Cell("record"), "bench": Cell("Larch hall"),
                 **dict.fromkeys(UNUSED_COLUMNS, Cell("")),
                 "run": self._count_cell(run), "note": Cell("")}  # fmt: skip
        if self.has("formula as a name"):
            result = ref if self.day_format == DAY_FORMATS[0] else None
            cells["client_ref"] = Cell(formula=f'="{ref}"', cached=result, cached_type="str")
        cells["session_started_at"], moment = self._date_cell(started)
        self._note(ref, "session_started_at", 0, moment, self._seen(cells["session_started_at"]))
        for name, number in typed.items():
            cells[name] = self._noted_number(ref, run, name, number)
        kept = {name: cell for name, cell in cells.items() if name in self.columns}
        self.rows.append(Row(kept, ref, run, day))

    def _seen(self, cell: Cell) -> str:
        return cell.described(self.habits.is_workbook)

    def _count_cell(self, number: int) -> Cell:
        return Cell(str(number), number)

    def _noted_number(self, ref: str, run: int, name: str, typed: Typed) -> Cell:
        cell, truth, oddity = self._number_cell(name, typed)
        of_run = run if LEVEL[name] == "run" else 0
        seen = f"{self.columns[name].title}: {self._seen(cell)}"
        self._note(ref, name, of_run, truth, seen, oddity)
        return cell

    def _number_cell(self, name: str, typed: Typed) -> tuple[Cell, Any, str]:
        """Return the cell of a number, its truth and the oddity that was applied to it."""
        aimed = [oddity for oddity, target in self.targets.items() if target == name]
        always = {"format that scales", "unit in the format", "unit in cells", "time as a number"}
        aimed = [each for each in aimed if each in always or self.rng.random() < self.cell_share]
        if not aimed:
            return self._plain_number(name, typed), typed.truth, ""
        oddity = self.rng.choice(aimed)
        cell, truth = ODD_CELLS[oddity](self, name, typed)
        return cell, typed.truth if truth == "typed" else truth, oddity

    def _plain_number(self, name: str, typed: Typed) -> Cell:
        text = self.spelled(typed.number)
        if typed.unit is not self.columns[name].unit:
            return Cell(f"{text} {typed.unit.sign}")
        if not self.habits.is_workbook or name in self.text_columns:
            return Cell(text)
        shown = "#,##0.####" if self.habits.thousands else "General"
        return Cell(text, float(typed.number), self.rng.choice(("General", shown)))

    def spelled(self, number: Decimal) -> str:
        """Return a number with the signs that the sheet's writer uses."""
        return spell(number, self.habits.decimal, self.habits.thousands)

    def _date_cell(self, started: datetime) -> tuple[Cell, Any]:
        """Return the cell of a time, and the moment or the day that it means."""
        moment = started.replace(tzinfo=ZoneInfo(self.habits.zone))
        if self.habits.is_workbook and self.is_native_date:
            return self._native_date(started, moment)
        if self.has("date without a time"):
            return Cell(self._text_day(started)), started.date()
        return Cell(self._text_moment(started, moment)), moment

    def _native_date(self, started: datetime, moment: datetime) -> tuple[Cell, Any]:
        if self.has("dates as serial numbers"):
            epoch = {"epoch": CALENDAR_MAC_1904} if self.has("dates from 1904") else {}
            return Cell(value=round(to_excel(started, **epoch), 9)), moment
        if self.has("date cells without the time shown"):
            return Cell(value=started, number_format=self.day_format), started.date()
        if self.has("date without a time"):
            return Cell(value=started.date(), number_format=self.day_format), started.date()
        return Cell(value=started, number_format=self.moment_format), moment

    def _text_day(self, started: datetime) -> str:
        forms = {"dotted": "%d.%m.%Y", "dotted short": "%d.%m.%y", "day/month": "%d/%m/%Y",
                 "month/day": "%m/%d/%Y", "month/day 12 h": "%m/%d/%Y",
                 "month name": "%d %B %Y"}  # fmt: skip
        return short(started.strftime(forms.get(self.habits.date_form, "%Y-%m-%d")))

    def _text_moment(self, started: datetime, moment: datetime) -> str:
        form = self.habits.date_form
        if form == "iso offset":
            return moment.isoformat(timespec="minutes")
        if form == "iso Z":
            return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        forms = {"iso": "%Y-%m-%d %H:%M", "iso T": "%Y-%m-%dT%H:%M",
                 "iso seconds": "%Y-%m-%d %H:%M:%S", "dotted": "%d.%m.%Y %H:%M",
                 "dotted short": "%d.%m.%y %H:%M", "month name": "%d %B %Y %H:%M",
                 "Mar 5, 2026": "%b %d, %Y %I:%M %p"} | SLASHED  # fmt: skip
        text = started.strftime(forms[form])
        return text if form.startswith("iso") else short(text)

    # Arrangement of the rows

    def _arrange_rows(self) -> None:
        if self.has("interleaved trials") and not self.has("merged cells"):
            self.rows.sort(key=lambda row: row.run)
        self._tick_rows()
        if self.has("conditions typed once"):
            self._type_conditions_once()
        if self.has("name typed once"):
            self._type_name_once()
        for oddity in ("hidden rows", "filtered rows", "rows of no height"):
            if self.has(oddity):
                self._add_hidden_row()
        if self.has("blank rows"):
            for _ in range(self.rng.randint(1, 3)):
                blanks = {name: Cell(self.rng.choice(("", "", " "))) for name in self.columns}
                self.rows.insert(self.rng.randint(0, len(self.rows)), Row(blanks))

    def _tick_rows(self) -> None:
        for name in TICKS:
            said = [True] * len(self.rows)
            if name == self.odd_tick and self.has("empty ticks"):
                said = [self.rng.choice((True, True, None)) for _ in self.rows]
            elif name == self.odd_tick and self.has("ticks that say no"):
                said = self._denied()
            for row, word in zip(self.rows, said, strict=True):
                row.cells[name] = self._tick_cell(word)
            self._note_ticks(name, said)

    def _denied(self) -> list[bool | None]:
        """Return ticks of which all of one trial, or one row alone, say no."""
        denied = self.rng.choice(self.rows)
        is_whole_trial = self.rng.random() < 0.6
        return [row is not denied and not (is_whole_trial and row.trial == denied.trial)
                for row in self.rows]  # fmt: skip

    def _tick_cell(self, word: bool | None) -> Cell:
        if word is None:
            return Cell("")
        text = self.habits.tick[0 if word else 1]
        if self.habits.tick == ("TRUE", "FALSE"):
            return Cell(text, word)
        return Cell(text, int(word)) if self.habits.tick == ("1", "0") else Cell(text)

    def _note_ticks(self, name: str, said: list[bool | None]) -> None:
        """Note what ticks mean: a cross left out says no; an empty cell among words, nothing."""
        leaves_out = self.habits.tick[1] == ""
        for ref in dict.fromkeys(row.trial for row in self.rows):
            words = [word for row, word in zip(self.rows, said, strict=True) if row.trial == ref]
            seen = [
                self.habits.tick[0 if word else 1] if word is not None else "" for word in words
            ]
            meant = {bool(word) if leaves_out else word for word in words} - {None}
            if meant:
                truth = meant.pop() if len(meant) == 1 else NO_VALUE
                self._note(ref, name, 0, truth, f"{name}: {seen}",
                           "tick" if not all(words) else "")  # fmt: skip

    def _type_conditions_once(self) -> None:
        typed_days: set[int] = set()
        for row in self.rows:
            for name in row.cells if row.day in typed_days else ():
                if LEVEL.get(name) == "session" and name in OF_NAME:
                    row.cells[name] = Cell("")
            typed_days.add(row.day)

    def _type_name_once(self) -> None:
        """Leave out a name below the first row of each trial, where a person reads on."""
        name = self.rng.choice(("session_started_at", "client_ref", "team", "build"))
        before = ""
        for row in self.rows:
            if row.trial == before:
                row.cells[name] = Cell("")
            before = row.trial

    def _add_hidden_row(self) -> None:
        place = self.rng.randrange(len(self.rows))
        row = self.rows[place]
        number = 777 if self.columns["voltage_v"].unit.sign == "mV" else 0.777
        cells = row.cells | {"voltage_v": Cell(str(number), number)}
        if self.rng.random() < 0.5:
            cells["client_ref"] = Cell("discarded")
        self.rows.insert(place, Row(cells, row.trial, row.run, row.day, is_hidden=True))

    # A file of separated values

    def _lines(self, names: list[str]) -> str:
        lines = [[self.columns[name].title for name in names]]
        lines += [[row.cells[name].text for name in names] for row in self.rows]
        if self.has("short rows"):
            lines[1:] = [without_empty_end(line) for line in lines[1:]]
        if self.has("line above the titles"):
            lines.insert(0, ["Tests in the hall"])
        delimiter = self.habits.delimiter
        if self.has("decimal comma without quotes"):
            text = self.habits.newline.join(delimiter.join(line) for line in lines)
        else:
            text = separated(lines, self.habits)
        return f"sep={delimiter}{self.habits.newline}{text}" if self.has("sep= line") else text

    def _encoded(self, text: str) -> bytes:
        encoding = self.habits.encoding
        if encoding == "cp1252":
            try:
                return text.encode(encoding)
            except UnicodeEncodeError:
                return text.encode()
        mark = "\ufeff" if encoding.startswith("utf-16") else ""
        return (mark + text).encode(encoding)

    # A workbook

    def _workbook(self, names: list[str]) -> bytes:
        book = Workbook()
        if self.has("dates from 1904"):
            book.epoch = CALENDAR_MAC_1904
        sheet = book.active
        sheet.title = "Trials"
        offset = 1
        if self.has("line above the titles"):
            sheet.cell(1, 1, "Tests in the hall")
            offset = 2
        for number, name in enumerate(names, start=1):
            sheet.cell(offset, number, self.columns[name].title)
        cached = self._fill(sheet, names, offset)
        if self.has("merged cells"):
            self._merge(sheet, names, offset)
        if self.has("hidden column"):
            self._add_hidden_column(sheet, len(names) + 1, offset)
        self._add_sheets_before(book, names)
        content = io.BytesIO()
        book.save(content)
        return completed(content.getvalue(), cached, self.has("rows of no height"))

    def _fill(self, sheet: Worksheet, names: list[str], offset: int) -> dict[str, Cell]:
        """Write the rows; return the formulas with results, which are written afterwards."""
        cached = {}
        for number, row in enumerate(self.rows, start=offset + 1):
            for place, name in enumerate(names, start=1):
                cell = row.cells[name]
                written = sheet.cell(number, place)
                written.value = cell.formula or (cell.text if cell.value is None else cell.value)
                if cell.text == "" and cell.value is None and not cell.formula:
                    written.value = None
                written.number_format = cell.number_format
                if cell.cached is not None:
                    cached[written.coordinate] = cell
            if row.is_hidden:
                self._hide(sheet, number)
        if self.has("filtered rows"):
            last = get_column_letter(len(names))
            sheet.auto_filter.ref = f"A{offset}:{last}{offset + len(self.rows)}"
        return cached

    def _hide(self, sheet: Worksheet, number: int) -> None:
        if self.has("rows of no height"):
            sheet.row_dimensions[number].height = 0
        else:
            sheet.row_dimensions[number].hidden = True

    def _merge(self, sheet: Worksheet, names: list[str], offset: int) -> None:
        """Merge the equal cells that each trial or session has in one column."""
        candidates = [name for name in names if name in (
            "session_started_at", "client_ref", "load_ohm", "wind_speed_m_s", "pitch_deg",
            "air_temperature_c", "adult_present", "load_connected", "team")]  # fmt: skip
        name = self.rng.choice(candidates)
        place = names.index(name) + 1
        start = 0
        for end in range(1, len(self.rows) + 1):
            first = self.rows[start]
            if end < len(self.rows) and self._is_shared(name, first, self.rows[end]):
                continue
            if end - start > 1:
                sheet.merge_cells(start_row=offset + 1 + start, end_row=offset + end,
                                  start_column=place, end_column=place)  # fmt: skip
            start = end

    def _is_shared(self, name: str, one: Row, other: Row) -> bool:
        is_filled = one.cells[name] != Cell("") and one.trial != ""
        return is_filled and one.trial == other.trial and one.cells[name] == other.cells[name]

    def _add_hidden_column(self, sheet: Worksheet, place: int, offset: int) -> None:
        quantity = OF_NAME[self.rng.choice(("voltage_v", "load_ohm"))]
        other = next(u for u in quantity.units if u is not self.columns[quantity.name].unit)
        sheet.cell(offset, place, other.column)
        for number in range(offset + 1, offset + 1 + len(self.rows)):
            sheet.cell(number, place, 0.777)
        sheet.column_dimensions[get_column_letter(place)].hidden = True

    def _add_sheets_before(self, book: Workbook, names: list[str]) -> None:
        if self.has("sheet of words before"):
            words = book.create_sheet("Read me", 0)
            words["A1"] = "Type one row for each run into the next sheet."
            book.active = 1
        if self.has("hidden sheet before"):
            old = book.create_sheet("Old", 0)
            old.sheet_state = self.rng.choice(("hidden", "veryHidden"))
            for number, name in enumerate(names, start=1):
                old.cell(1, number, self.columns[name].title)
                cell = self.rows[-1].cells[name]
                old.cell(2, number, cell.text if cell.value is None else cell.value)
            old.cell(2, names.index("client_ref") + 1, "discarded")
            book.active = book.index(book["Trials"])

    def _preview(self, names: list[str]) -> list[str]:
        titles = " | ".join(self.columns[name].title for name in names)
        return [titles, *(self._preview_row(row, names) for row in self.rows)]

    def _preview_row(self, row: Row, names: list[str]) -> str:
        cells = " | ".join(row.cells[name].described(self.habits.is_workbook) for name in names)
        return ("(hidden) " if row.is_hidden else "") + cells


# Cells of the odd kinds -------------------------------------------------------------------------


def _in_cell(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    space = drawing.rng.choice((" ", "", "\u00a0"))
    sign = drawing.rng.choice((typed.unit.sign, *typed.unit.other_signs))
    return Cell(f"{drawing.spelled(typed.number)}{space}{sign}"), "typed"


def _percent_sign(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(drawing.spelled(typed.number) + drawing.rng.choice((" %", "%"))), "typed"


def _fraction(drawing: _Drawing, name: str, typed: Typed) -> tuple[Cell, Any]:
    share = typed.number / 100
    is_native = drawing.habits.is_workbook and name not in drawing.text_columns
    return Cell(drawing.spelled(share), float(share) if is_native else None), "typed"


def _other_decimal(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    own = drawing.habits.decimal
    other = "." if own == "," else ","
    return Cell(spell(typed.number, other, drawing.rng.choice(("", own)))), "typed"


def _scientific(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    text = f"{typed.number:.{len(typed.number.as_tuple().digits) - 1}E}"
    return Cell(text.replace(".", drawing.habits.decimal)), "typed"


def _spaced(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(drawing.rng.choice((" {} ", "\u00a0{}", "{}\u00a0", "'{}", "+{}")).format(
        drawing.spelled(typed.number))), "typed"  # fmt: skip


def _negative(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    text = drawing.spelled(typed.number)
    form = drawing.rng.choice(("-{}", "\u2212{}", "\u2013{}", "{}-", "({})", "- {}"))
    return Cell(form.format(text)), "typed"


def _remark(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    text, more = (drawing.spelled(each) for each in (typed.number, typed.number + 1))
    meant = ("{}?", "ca. {}", "~{}", "{}*", "{} (2nd try)")
    unclear = ("{}-{}", "{}/{}", "{} {}", "<{}", "{};{}", "{} 1/2", "{}:{}")
    if drawing.rng.random() < 0.4:
        return Cell(drawing.rng.choice(meant).format(text)), "typed"
    return Cell(drawing.rng.choice(unclear).format(text, more)), NO_VALUE


def _became_date(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    day = FIRST_DAY + timedelta(days=int(typed.number) % 90)
    if drawing.habits.is_workbook:
        shown = drawing.rng.choice(("d. mmm", "d-mmm", "mmm yy", "m/d/yyyy"))
        return Cell(value=datetime.combine(day, time()), number_format=shown), NO_VALUE
    return Cell(short(day.strftime(drawing.rng.choice(("%d. %b", "%d-%b", "%d.%m.", "%b %y"))))), \
        NO_VALUE  # fmt: skip


def _tick_in_number(drawing: _Drawing, _name: str, _typed: Typed) -> tuple[Cell, Any]:
    return Cell("TRUE", True if drawing.habits.is_workbook else None), NO_VALUE


def _empty(_drawing: _Drawing, _name: str, _typed: Typed) -> tuple[Cell, Any]:
    return Cell(""), None


def _percent_format(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    literal = drawing.rng.choice(('0.####"%"', "0.####\\%", '0.#### "%"'))
    if drawing.rng.random() < 0.4:
        return Cell(value=float(typed.number), number_format=literal), "typed"
    shown = drawing.rng.choice(("0%", "0.00%", "0 %"))
    return Cell(value=float(typed.number / 100), number_format=shown), "typed"


def _scaled_format(_drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(value=float(typed.number * 1000), number_format="0.0###,"), "typed"


def _unit_format(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    sign = typed.unit.sign
    letter_by_letter = "0.####\\ " + "".join(f"\\{letter}" for letter in sign)
    forms = (f'0.####" {sign}"', f'0.####"{sign}"', f'General" {sign}"', letter_by_letter,
             f"0.#### [${sign}]")  # fmt: skip
    return Cell(value=float(typed.number), number_format=drawing.rng.choice(forms)), "typed"


def _formula(_drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(formula=f"={typed.number}+0"), "typed"


def _formula_with_result(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    if drawing.rng.random() < 0.3:
        text = drawing.spelled(typed.number)
        return Cell(formula=f'="{text}"', cached=text, cached_type="str"), "typed"
    return Cell(formula=f"={typed.number}+0", cached=str(typed.number), cached_type="n"), "typed"


def _formula_in_error(_drawing: _Drawing, _name: str, _typed: Typed) -> tuple[Cell, Any]:
    return Cell(formula="=1/0", cached="#DIV/0!", cached_type="e"), NO_VALUE


def _as_text(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    return Cell(drawing.spelled(typed.number)), "typed"


def _time_number(drawing: _Drawing, _name: str, typed: Typed) -> tuple[Cell, Any]:
    if drawing.rng.random() < 0.5:
        return Cell(value=time(0, int(typed.number)), number_format="h:mm"), "typed"
    return Cell(f"0:{int(typed.number):02}"), "typed"


ODD_CELLS: dict[str, Callable[[_Drawing, str, Typed], tuple[Cell, Any]]] = {
    "unit in cells": _in_cell,
    "percent sign": _percent_sign,
    "humidity as a fraction": _fraction,
    "other decimal sign in a column": _other_decimal,
    "scientific notation": _scientific,
    "spaces around numbers": _spaced,
    "minus sign": _negative,
    "remark in a number": _remark,
    "number turned into a date": _became_date,
    "tick in a number": _tick_in_number,
    "cells left empty": _empty,
    "percent format": _percent_format,
    "format that scales": _scaled_format,
    "unit in the format": _unit_format,
    "formula without a result": _formula,
    "formula with a result": _formula_with_result,
    "formula in error": _formula_in_error,
    "numbers as text": _as_text,
    "time as a number": _time_number,
}


# Spelling ---------------------------------------------------------------------------------------


def spell(number: Decimal, decimal: str, thousands: str) -> str:
    """Return a number with a decimal sign and, from one thousand, separators."""
    whole, _, rest = f"{number:f}".partition(".")
    if thousands:
        whole = f"{int(whole):,}".replace(",", thousands)
    return whole + (decimal + rest if rest else "")


def short(text: str) -> str:
    """Drop the zeros with which day, month and hour of a date begin."""
    return re.sub(r"(?<![\d:])0(\d)(?=[./\s:])", r"\1", text)


def without_empty_end(line: list[str]) -> list[str]:
    """Return a line without the empty cells at its end."""
    while line and not line[-1]:
        line = line[:-1]
    return line


def separated(lines: list[list[str]], habits: Habits) -> str:
    """Return lines as separated values, quoted as the habits say."""
    text = io.StringIO()
    csv.writer(text, delimiter=habits.delimiter, lineterminator=habits.newline,
               quoting=habits.quoting).writerows(lines)  # fmt: skip
    return text.getvalue()


def completed(content: bytes, cached: dict[str, Cell], has_flat_rows: bool) -> bytes:
    """Write into a workbook what openpyxl leaves out: results of formulas, heights of zero."""
    written = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(written, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name.startswith("xl/worksheets/sheet"):
                text = _with_results(part.decode(), cached)
                if has_flat_rows:
                    text = text.replace(' customHeight="1"', ' customHeight="1" ht="0"')
                part = text.encode()
            new.writestr(name, part)
    return written.getvalue()


def _with_results(part: str, cached: dict[str, Cell]) -> str:
    for coordinate, cell in cached.items():
        part = re.sub(
            rf'(<c r="{coordinate}"[^>]*?)(?: t="\w+")?>(<f>[^<]*</f>)<v ?/?>(?:</v>)?',
            rf'\1 t="{cell.cached_type}">\2<v>{cell.cached}</v>',
            part,
        )
    return part


# The service ------------------------------------------------------------------------------------


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
    """Return what was stored beside the world's own trial, by client_ref, with its session."""
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
    """Return what is stored for a fact: of its run, its trial or its session."""
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
    given = abs(stored) if fact.name == "voltage_v" else stored
    return math.isclose(given, fact.truth, rel_tol=1e-6, abs_tol=1e-9)


# The report -------------------------------------------------------------------------------------


@dataclass
class Tally:
    """Counts of files and of values by class of mixture, and the values that are wrong."""

    files: Counter[tuple[str, str]] = field(default_factory=Counter)
    values: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    totals: Counter[str] = field(default_factory=Counter)
    wrong: list[tuple[Sheet, Verdict]] = field(default_factory=list)

    def add(self, sheet: Sheet, verdicts: list[Verdict]) -> None:
        """Count a sheet under each of its oddities."""
        for oddity in sheet.oddities or ("nothing odd",):
            self.files[sheet.kind, oddity] += 1
            for verdict in verdicts:
                self.values[sheet.kind, oddity, verdict.outcome] += 1
        self.totals.update(verdict.outcome for verdict in verdicts)
        self.wrong += [(sheet, each) for each in verdicts if each.outcome == "wrong"]

    @property
    def right_share(self) -> float:
        return self.totals["right"] / max(1, self.totals.total())

    def show(self) -> None:
        """Print the table and the first wrong values."""
        print(f"{'file':5} {'oddity':34} {'files':>6} {'right':>7} {'asked':>7} {'WRONG':>6}")
        for kind, oddity in sorted(self.files):
            counts = [self.values[kind, oddity, each] for each in ("right", "asked", "wrong")]
            files = self.files[kind, oddity]
            print(f"{kind:5} {oddity:34} {files:6} {counts[0]:7} {counts[1]:7} {counts[2]:6}")
        print(f"all values: {self.totals['right']} right ({100 * self.right_share:.0f} %), "
              f"{self.totals['asked']} refused or asked, {self.totals['wrong']} WRONG")  # fmt: skip
        for sheet, verdict in self.wrong[:MOST_LISTED]:
            print(described(sheet, verdict))


def described(sheet: Sheet, verdict: Verdict) -> str:
    """Return one line about a wrong value."""
    fact = verdict.fact
    return (f"sheet {sheet.number} {sheet.kind} {fact.trial} {fact.name} run {fact.run}: typed "
            f"{fact.typed}, truth {fact.truth}, stored {verdict.stored}; "
            f"{fact.oddity or 'plain cell'}; file: {', '.join(sheet.oddities) or 'nothing odd'}"
            f"; signs {sheet.habits.decimal!r} {sheet.habits.thousands!r}")  # fmt: skip


def try_sheets(imports: Imports, seed: int, numbers: Iterable[int]) -> Tally:
    """Draw and import sheets of a seed."""
    tally = Tally()
    for number in numbers:
        sheet = draw_sheet(seed, number)
        tally.add(sheet, imports.verdicts(sheet))
    return tally


def main() -> int:
    """Print the report; return 1 if a value is wrong or too few are stored."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--sheets", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="draw this one sheet and print its cells")
    asked = parser.parse_args()
    with running_imports() as imports:
        if asked.only is not None:
            _show_sheet(imports, draw_sheet(asked.seed, asked.only))
            return 0
        tally = try_sheets(imports, asked.seed, range(1, asked.sheets + 1))
    tally.show()
    return int(bool(tally.wrong) or tally.right_share < LEAST_RIGHT_SHARE)


def _show_sheet(imports: Imports, sheet: Sheet) -> None:
    print(sheet.habits, sheet.oddities)
    print("\n".join(sheet.preview))
    for verdict in imports.verdicts(sheet):
        print(f"{verdict.outcome:6} {described(sheet, verdict)}")
    print(imports.answer.status_code, imports.answer.text[:4000])


if __name__ == "__main__":
    raise SystemExit(main())

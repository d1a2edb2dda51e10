"""Draw one sheet from a seed: its columns, rows, oddities, and the truth of each value."""

import csv
import math
import random
from datetime import UTC, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from openpyxl.utils.datetime import CALENDAR_MAC_1904, to_excel

from tests.bench.sheets.arranging import Arranging
from tests.bench.sheets.odd_cells import ODD_CELLS
from tests.bench.sheets.spelling import short, spell
from tests.bench.sheets.words import (
    CSV_ODDITIES,
    DATE_FORMATS,
    DAY_FORMATS,
    FIRST_DAY,
    HIDES_THE_REST,
    LEVEL,
    NO_VALUE,
    NUMBER_ODDITIES,
    OF_NAME,
    QUANTITIES,
    ROTOR_DIAMETER_M,
    SHEET_ODDITIES,
    SLASHED,
    TEXT_DATES,
    TICK_WORDS,
    TICKS,
    UNUSED_COLUMNS,
    WORKBOOK_NUMBER_ODDITIES,
    WORKBOOK_ODDITIES,
    ZONES,
    Cell,
    Column,
    Fact,
    Habits,
    Quantity,
    Row,
    Sheet,
    Typed,
    Unit,
)
from tests.bench.sheets.writing import Writing


def draw_sheet(seed: int, number: int) -> Sheet:
    """Return sheet `number` of a seed."""
    return Drawing(random.Random(f"{seed}-{number}"), number).sheet()


class Drawing(Arranging, Writing):
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
        """Return the columns that a trial needs, then unused, empty columns of the template."""
        needed = ("team", "build", "session_started_at", "client_ref", *TICKS, "load_ohm",
                  "voltage_v", "wind_speed_m_s")  # fmt: skip
        used = [column for column in columns if column.name in needed]
        return used + [Column(name, name) for name in UNUSED_COLUMNS[: self.rng.randint(1, 4)]]

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
        written = {name: cell for name, cell in cells.items() if name in self.columns}
        self.rows.append(Row(written, ref, run, day))

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

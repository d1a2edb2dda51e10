"""Draw one sheet: its trials, and a file as a teacher would keep them."""

import csv
import io
import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import openpyxl

from tests.bench.school_sheet.languages import LANGUAGES, UNITS, Language

FIRST, DAYS = datetime(2026, 2, 9), 90
ALL = ("day", "clock", "team", "bench", "build", "pitch", "load", "connected", "volts", "wind",
       "air", "adult")  # fmt: skip
#: What the sheet may leave out, and is then asked for once.
MAY_LACK = ("bench", "connected", "adult", "clock")
EXCEL_ZERO = datetime(1899, 12, 30)


@dataclass
class Trial:
    """One trial as it is meant: everything in the units of the API."""

    team: str
    build: int
    started_at: datetime
    pitch: float
    load: float
    wind: float
    air: float
    volts: list[float]


@dataclass
class SchoolSheet:
    """A file with its trials, what it leaves out, and how it was made."""

    number: int
    content: bytes
    is_workbook: bool
    trials: list[Trial]
    lacks: dict[str, str]
    order: str
    oddities: list[str] = field(default_factory=list)
    preview: str = ""


class Drawing:
    """The habits of one teacher, and the cells that follow from them."""

    def __init__(self, seed: int, number: int, teams: dict[str, int]) -> None:
        self.draw = random.Random(f"{seed}-{number}")
        self.name = self.draw.choice(list(LANGUAGES))
        self.language: Language = LANGUAGES[self.name]
        self.decimal = "." if self.draw.random() < 0.2 else self.language.decimal
        self.is_workbook = self.draw.random() < 0.35
        self.delimiter = "\t" if self.draw.random() < 0.2 else ";" if self.decimal == "," else ","
        self.layout = self.draw.choice(("long", "wide", "wide"))
        self.fills_once = self.draw.random() < 0.4
        self.units = {name: self.draw.choice(kinds) for name, kinds in UNITS.items()}
        self.where = {name: self.draw.choice(("title", "title", "cell")) for name in UNITS}
        self.day = self.draw.choice(self.language.days)
        self.clock = self.draw.choice(("%H:%M", "%H:%M", "%Hh%M" if self.name == "fr" else "%H:%M"))
        self.yes = self.draw.choice(self.language.yes)
        self.readings = self.draw.randint(2, 4)
        self.lacks = [each for each in MAY_LACK if self.draw.random() < 0.25]
        self.is_serial = self.is_workbook and self.draw.random() < 0.3
        self.counts = self.layout == "long" and self.draw.random() < 0.3
        self.oddities = [self.name, self.layout, "workbook" if self.is_workbook else "text"]
        self.trials = list(self._trials(teams))
        self.titles = {name: self._title(name) for name in ALL}

    def _trials(self, teams: dict[str, int]):
        start = FIRST + timedelta(days=self.draw.randrange(DAYS), hours=self.draw.randint(9, 16))
        air = self._si("air", self.shown("air", self.draw.uniform(17, 24)))  # of the session
        for team in self.draw.sample(list(teams), self.draw.randint(1, 2)):
            pitches = self.draw.sample(range(4, 20), self.draw.randint(2, 3))
            for pitch in pitches:
                load = self.shown("load", self.draw.choice((22.0, 30.0, 47.0)))
                volts = [
                    self.shown("volts", self.draw.uniform(0.6, 1.9)) for _ in range(self.readings)
                ]
                yield Trial(
                    team, teams[team], start, float(pitch), self._si("load", load),
                    self._si("wind", self.shown("wind", self.draw.uniform(3.5, 4.6))),
                    air,
                    [self._si("volts", each) for each in volts],
                )  # fmt: skip

    def shown(self, name: str, value: float) -> float:
        """Return a value as it is read off, in the unit and with the decimals of the sheet."""
        _, factor, zero, decimals = self.units[name]
        return round(value / factor + zero, decimals)

    def _si(self, name: str, typed: float) -> float:
        _, factor, zero, _ = self.units[name]
        return (typed - zero) * factor

    def _title(self, name: str) -> str:
        word = self.draw.choice(self.language.titles[name])
        if name not in UNITS or self.where[name] != "title":
            return word
        unit = self.units[name][0]
        joined = [f"{word} ({unit})", f"{word} [{unit}]"]
        if self.name in ("en", "de", "nl"):
            joined.append(f"{word} in {unit}")
        return self.draw.choice(joined)

    def number(self, name: str, value: float) -> str:
        """Return a value as a cell has it."""
        decimals = self.units[name][3]
        text = f"{self.shown(name, value):.{decimals}f}"
        if name == "load" and self.where[name] == "cell" and self.units[name][0] == "kΩ":
            whole, _, rest = text.partition(".")
            return f"{whole}k{rest.rstrip('0') or ''}"
        text = text.replace(".", self.decimal)
        return f"{text} {self.units[name][0]}" if self.where.get(name) == "cell" else text

    def cell(self, name: str, trial: Trial) -> object:
        """Return the cell of a trial in a column that is not one of readings."""
        if name == "day":
            return self._day(trial.started_at)
        if name == "clock":
            return trial.started_at.strftime(self.clock)
        texts = {"team": trial.team, "bench": "Larch hall", "build": str(trial.build),
                 "connected": self.yes, "adult": self.yes}  # fmt: skip
        return texts[name] if name in texts else self.number(name, getattr(trial, name))

    def _day(self, moment: datetime) -> object:
        midnight = moment.replace(hour=0, minute=0)
        if self.is_serial:
            return (midnight - EXCEL_ZERO).days
        return moment.strftime(self.day)

    def rows(self) -> list[list[object]]:
        """Return the rows of the sheet, its titles first."""
        names = [name for name in ALL if name not in self.lacks and name != "volts"]
        self.draw.shuffle(names)
        titles = [self.titles[name] for name in names]
        wide = [self._reading_title(at) for at in range(1, self.readings + 1)]
        extras = [each for each in (self.language.remark, self.language.power)
                  if self.draw.random() < 0.4]  # fmt: skip
        counted = [self.draw.choice(self.language.titles["trial"])] if self.counts else []
        head = (
            titles + counted + (wide if self.layout == "wide" else [self.titles["volts"]]) + extras
        )
        body: list[list[object]] = []
        above: Trial | None = None
        for number, trial in enumerate(self.trials, start=1):
            shared = [self.cell(name, trial) for name in names]
            if self.fills_once and above is not None:
                shared = self._once(names, shared, trial, above)
            volts = [self.number("volts", each) for each in trial.volts]
            more = ["ok" if each == self.language.remark else "47" for each in extras]
            if self.layout == "wide":
                body.append([*shared, *volts, *more])
            else:
                for at, each in enumerate(volts):
                    own = shared if at == 0 or not self.fills_once else [""] * len(shared)
                    body.append([*own, *([number] if self.counts else []), each, *more])
            above = trial
        return self._around(head, body)

    def _once(self, names, shared, trial, above):
        """Write a name only where it changes, as people do below each other."""
        blanks = {"day", "clock", "bench", "adult", "connected"}
        if trial.team == above.team:
            blanks |= {"team", "build"}
        return ["" if name in blanks & {"day", "clock", "bench", "team", "build"} else cell
                for name, cell in zip(names, shared, strict=True)]  # fmt: skip

    def _reading_title(self, at: int) -> str:
        kind = self.numbering = getattr(self, "numbering", None) or self.draw.choice(
            ("word", "symbol", "same", "reading"))  # fmt: skip
        unit = self.units["volts"][0] if self.where["volts"] == "title" else ""
        behind = f" ({unit})" if unit else ""
        if kind == "same":
            return f"{self.language.titles['volts'][0]}{behind}"
        if kind == "symbol":
            symbol = "V" if self.name == "en" else "U"
            return f"{symbol}{at}{behind}"
        word = self.language.titles["reading" if kind == "reading" else "volts"][0]
        return f"{word} {at}{behind}"

    def _around(self, head: list[object], body: list[list[object]]) -> list[list[object]]:
        """Add what stands around the trials: a headline, blank rows, an average, a comment."""
        rows: list[list[object]] = []
        width = len(head)
        if self.draw.random() < 0.35:
            rows.append([self.language.headline, *[""] * (width - 1)])
            self.oddities.append("headline")
            if self.draw.random() < 0.5:
                rows.append([""] * width)
        rows.append(head)
        blank = self.draw.random() < 0.25
        for at, row in enumerate(body):
            rows.append(row)
            if blank and at == 0 and self.layout == "wide":
                rows.append([""] * width)
        if self.draw.random() < 0.3:
            last = [""] * width
            last[0], last[-1] = self.language.mean, "1"
            rows.append(last)
            self.oddities.append("average")
        return rows


def draw_sheet(seed: int, number: int, teams: dict[str, int]) -> SchoolSheet:
    """Return a sheet; the same seed and number always draw the same one."""
    drawing = Drawing(seed, number, teams)
    rows = drawing.rows()
    lacks = {"bench": "Larch hall", "connected": "yes", "adult": "yes",
             "clock": f"{drawing.trials[0].started_at:%H:%M}"}  # fmt: skip
    content = _workbook(drawing, rows) if drawing.is_workbook else _text(drawing, rows)
    is_month_first = drawing.day == "%m/%d/%Y" and not drawing.is_serial
    return SchoolSheet(
        number, content, drawing.is_workbook, drawing.trials,
        {name: lacks[name] for name in drawing.lacks},
        "month_first" if is_month_first else "day_first", drawing.oddities,
        "\n".join(" | ".join(map(str, row)) for row in rows),
    )  # fmt: skip


def _text(drawing: Drawing, rows: list[list[object]]) -> bytes:
    out = io.StringIO()
    ends = drawing.draw.choice(("\r\n", "\r\n", "\n", "\r"))
    csv.writer(out, delimiter=drawing.delimiter, lineterminator=ends).writerows(rows)
    wanted = ["utf-8", "utf-8-sig", "utf-16", "cp1252", "mac_roman"]
    drawing.draw.shuffle(wanted)
    for encoding in wanted:
        try:
            body = out.getvalue().encode(encoding)
        except UnicodeEncodeError:
            continue
        drawing.oddities.append(encoding)
        return body
    raise AssertionError("UTF-8 encodes everything")


def _workbook(drawing: Drawing, rows: list[list[object]]) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    if drawing.draw.random() < 0.2:
        sheet.append(["Notes", "nothing here"])
        sheet = book.create_sheet("Data")
        drawing.oddities.append("second sheet")
    for row in rows:
        sheet.append([None if cell == "" else _typed(drawing, cell) for cell in row])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _typed(drawing: Drawing, cell: object) -> object:
    """Return a cell as a workbook has it: a number where people type one."""
    if isinstance(cell, str):
        try:
            return float(cell.replace(drawing.decimal, ".")) if cell[:1].isdigit() else cell
        except ValueError:
            return cell
    return cell

"""Parts of a drawn sheet: quantities, cells, facts, and possible oddities."""

import math
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

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
              ("TRUE", "FALSE"), ("true", "false"), ("ja", "nein"), ("WAHR", "FALSCH"),
              ("oui", "non"), ("Sí", "No"))  # fmt: skip

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

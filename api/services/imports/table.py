"""Read a sheet as columns of values. Equal cells are read once, and share one object."""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import repeat
from typing import Any

from api.errors import FieldError
from api.services.imports.cells import NotAValue, Value, read_cell
from api.services.imports.decimal_signs import ColumnSigns
from api.services.imports.headers import BUILD_COLUMNS, LIST_COLUMNS, NAME_COLUMNS
from api.services.imports.names import plain
from api.services.imports.sheet import Sheet

SESSION_COLUMNS = (
    "air_temperature_c",
    "pressure_hpa",
    "relative_humidity_pct",
    "warm_up_min",
    "adult_present",
)
RUN_COLUMNS = (
    "voltage_v",
    "current_a",
    "rotor_speed_rpm",
    "wind_speed_m_s",
    "duration_s",
    "series_voltage_v",
    "sample_rate_hz",
)
TRIAL_COLUMNS = (
    "pitch_deg",
    "pitch_after_deg",
    "blade_pitches_deg",
    "load_ohm",
    "load_connected",
    "load_id",
    "meter_range_v",
    "rotor_diameter_m",
)
#: The wind of a trial, under another name than the wind of a run.
TRIAL_WIND = ("trial_wind_speed_m_s",)
#: The columns that distinguish trials without a name.
SETTING = (*NAME_COLUMNS, *TRIAL_COLUMNS, *TRIAL_WIND)
#: The columns that are equal for all runs of a trial.
SHARED = (*SETTING, *SESSION_COLUMNS)
#: The names of the template's example rows.
EXAMPLE = re.compile(r"example-\d", re.IGNORECASE)
RECORD = "record"  # the default kind of a trial


@dataclass(frozen=True)
class Table:
    """The rows of a sheet: a list of values for each column, None for an empty cell.

    `names` are the names that columns were typed with, which may have another unit; `faults` are
    the faults of the cells of a row, by its index; `keys` are field and typed name by title.
    """

    numbers: list[int]
    columns: dict[str, list[Value | None]]
    names: dict[str, str]
    faults: dict[int, list[FieldError]] = field(default_factory=dict)
    keys: dict[str, tuple[str, str]] = field(default_factory=dict)
    sheet: Sheet | None = None

    @cached_property
    def builds(self) -> list[int]:
        """Return a group number for each row; rows with the same build names share it."""
        return self._alike(BUILD_COLUMNS)

    @cached_property
    def settings(self) -> list[int]:
        """Return a group number for each row; rows with the same setting share it."""
        return self._alike(SETTING)

    @cached_property
    def shared(self) -> list[int]:
        """Return a group number for each row; rows that differ only in their run share it."""
        return self._alike(SHARED)

    @cached_property
    def _build_words(self) -> list[tuple[Any, ...]]:
        """Return the build names of each group of `builds`."""
        words: dict[int, tuple[Any, ...]] = {}
        for at, number in enumerate(self.builds):
            if number not in words:
                columns = ((name, self.columns.get(name)) for name in BUILD_COLUMNS)
                words[number] = tuple(
                    None if column is None else plainly(name, column[at])
                    for name, column in columns
                )
        return [words[number] for number in range(len(words))]

    def may_be_one_build(self, one: int, other: int) -> bool:
        """Tell whether two rows may belong to one build: names that both fill are equal."""
        if self.builds[one] == self.builds[other]:
            return True
        pairs = zip(self._build_words[self.builds[one]], self._build_words[self.builds[other]],
                    strict=True)  # fmt: skip
        return all(a == b or a is None or b is None for a, b in pairs)

    def named_by(self, at: int) -> int:
        """Return how many names of its build a row fills in."""
        return sum(word is not None for word in self._build_words[self.builds[at]])

    def _alike(self, names: Sequence[str]) -> list[int]:
        columns = [self._comparable(name) for name in names if name in self.columns]
        group_of: dict[Any, int] = {}
        rows = zip(*columns, strict=True) if columns else repeat((), len(self.numbers))
        return [group_of.setdefault(row, len(group_of)) for row in rows]

    def _comparable(self, name: str) -> Iterator[Any]:
        values = self.columns[name]
        if name in LIST_COLUMNS:
            return (value and tuple(value) for value in values)  # type: ignore[arg-type]  # a list
        comparable = {value: plainly(name, value) for value in dict.fromkeys(values)}
        return map(comparable.__getitem__, values)

    def title(self, name: str, at: int) -> str:
        """Return the title of a column for the row at an index."""
        return name if self.sheet is None else self.sheet.title(name, at)

    @property
    def groups(self) -> list[int] | None:
        """Return the number of each row's trial, if the sheet was laid out by trials."""
        return None if self.sheet is None else self.sheet.groups

    def typed(self, at: int, names: Sequence[str]) -> dict[str, Value]:
        """Return the values of a row in the named columns, under the names they were typed with."""
        return {
            self.names[name]: value
            for name in names
            if name in self.columns and (value := self.columns[name][at]) is not None
        }

    def rows(self) -> Iterator["ReadRow"]:
        """Yield the rows, without the template's examples."""
        refs = self.columns.get("client_ref", repeat(None, len(self.numbers)))
        for at, ref in enumerate(refs):
            if ref is None or not EXAMPLE.fullmatch(str(ref)):
                yield ReadRow(self, at)


def plainly(name: str, value: Any) -> Any:
    """Return a cell value for comparison: names in lower case with single spaces."""
    if name not in NAME_COLUMNS:
        return value
    if value is None:
        return RECORD if name == "kind" else None
    return plain(value).replace("t", " ") if name == "session_started_at" else plain(value)


@dataclass(frozen=True, slots=True)
class ReadRow:
    """One row of a table."""

    table: Table
    at: int

    @property
    def number(self) -> int:
        """Return its number as the spreadsheet shows it."""
        return self.table.numbers[self.at]

    @property
    def group(self) -> int | None:
        """Return the number of its trial, if the sheet was laid out by trials."""
        return None if self.table.groups is None else self.table.groups[self.at]

    def title(self, name: str) -> str:
        """Return the title of one of its columns in the file."""
        return self.table.title(name, self.at)

    @property
    def faults(self) -> list[FieldError]:
        """Return the faults of its cells."""
        return self.table.faults.get(self.at, [])

    @property
    def values(self) -> dict[str, Any]:
        """Return its values by column."""
        names = ("kind", *self.table.columns)
        return {name: value for name in names if (value := self.get(name)) is not None}

    @property
    def typed(self) -> dict[str, Value]:
        """Return its values under the names they were typed with."""
        return self.table.typed(self.at, tuple(self.table.columns))

    def get(self, name: str) -> Any:
        """Return its value in a column, or None if the cell is empty."""
        column = self.table.columns.get(name)
        value = None if column is None else column[self.at]
        return RECORD if value is None and name == "kind" else value


def read_table(sheet: Sheet, signs: Mapping[str, ColumnSigns]) -> Table:
    """Return the values of a sheet with its faults; `signs` has its decimal signs by column."""
    header, table = sheet.header, Table(sheet.numbers, {}, {}, sheet=sheet)
    for key, cells in sheet.cells.items():
        name = header.fields[key]
        table.keys[header.title(name)] = name, key
        read = {cell: _read(name, cell, signs, key) for cell in dict.fromkeys(cells)}
        wrong = {cell: each for cell, each in read.items() if isinstance(each, NotAValue)}
        for at, cell in enumerate(cells) if wrong else ():
            if cell in wrong:
                fault = wrong[cell].at(sheet.numbers[at], sheet.title(name, at), cell)
                table.faults.setdefault(at, []).append(fault)
        sound: dict[str, Any] = read | dict.fromkeys(wrong)
        table.columns[name], table.names[name] = list(map(sound.__getitem__, cells)), key
    return table


def _read(
    name: str, cell: str, signs: Mapping[str, ColumnSigns], key: str
) -> Value | NotAValue | None:
    """Return the value of a cell, None if it is empty, or the reason why it has no value."""
    try:
        return read_cell(name, cell, signs, key) if cell else None
    except NotAValue as reason:
        return reason

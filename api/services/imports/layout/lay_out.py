"""Lay a sheet out in the columns of an import, with each guess and each question."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import accumulate, pairwise

from api.errors import FieldError, Invalid
from api.messages import say
from api.services.imports.headers import LIST_COLUMNS, NUMBER_COLUMNS, Header
from api.services.imports.layout import explanations
from api.services.imports.layout.choices import CHOSEN, NOT_READ, SAME_FOR_ALL, Choices
from api.services.imports.layout.filling import fill
from api.services.imports.layout.kinds import kind_of
from api.services.imports.layout.moments import Starts, read_starts
from api.services.imports.layout.numbers import (
    in_one_unit,
    usual_sign,
    whole_number,
    with_own_unit,
)
from api.services.imports.layout.readings import Reading, readings_of
from api.services.imports.layout.rows import Row
from api.services.imports.layout.tables import FoundTable, find_tables
from api.services.imports.layout.titles import OF_READINGS, Title, chosen_title, read_title
from api.services.imports.layout.unclear_titles import questions
from api.services.imports.moments import is_moment
from api.services.imports.sheet import Sheet, wrong_length

#: Columns that only order rows: what they mean is in the order and the groups of the rows.
HELPERS = ("time_of_day", "trial_number")
#: Columns of which several texts are joined.
JOINED = ("note",)
IDENTITY = ("organisation", "team", "turbine", "build", "bench", "session_started_at", "kind")


def lay_out(
    rows: Sequence[Row], delimiter: str, encoding: str, choices: Choices, sign: str | None = None
) -> Sheet:
    """Return the table of a sheet laid out; refuse a sheet without a row of titles.

    `sign` is the decimal sign of the sheet if it is known, as of a workbook's real numbers.
    """
    tables = find_tables(rows, "" if sign else delimiter)  # no comma cuts a workbook's numbers
    if not tables:
        words, hint = say("import_layout.no_titles"), say("import_layout.no_titles_hint")
        raise Invalid(words, [FieldError("titles", words, hint, row=rows[0][0] if rows else 1)])
    table = _chosen(tables, choices.table)
    _apply(table, choices.columns)
    _refuse_twins(table)
    return _SheetLayout(table, choices, tables, sign).sheet(delimiter, encoding)


def has_trials(rows: Sequence[Row]) -> bool:
    """Tell whether a sheet has a table with readings."""
    return any(table.places("voltage_v") and table.rows for table in find_tables(rows))


def _chosen(tables: Sequence[FoundTable], named: str) -> FoundTable:
    """Return the table that was chosen by the row of its titles, or the first with a reading."""
    for table in tables:
        if str(table.number) == named:
            return table
    return next((each for each in tables if each.places("voltage_v")), tables[0])


def _apply(table: FoundTable, columns: Mapping[str, str]) -> None:
    """Give titles the columns that were chosen for them."""
    for at, title in enumerate(table.titles):
        chosen = columns.get(title) or columns.get(explanations.named_column(at))
        if chosen == NOT_READ:
            table.meanings[at] = Title(why=NOT_READ)
        elif chosen and table.meanings[at].column != chosen:
            table.meanings[at] = chosen_title(title, chosen, CHOSEN)


def _refuse_twins(table: FoundTable) -> None:
    """Read none of several columns with one meaning: a person says which of them it is."""
    for column in {title.column for title in table.meanings if title.column}:
        places = table.places(column)
        if len(places) > 1 and column not in JOINED and not _are_readings(table, places):
            for at in places:
                table.meanings[at] = Title(why="twice")


def _are_readings(table: FoundTable, places: Sequence[int]) -> bool:
    """Tell whether columns are the readings of one trial: counted 1, 2, 3, or all with one title.

    Other numbers, as in `Voltage 10` and `Voltage 22`, may be settings. A column that a person
    chose is a further reading.
    """
    if table.meanings[places[0]].column not in OF_READINGS:
        return False
    read = [at for at in places if table.meanings[at].why != CHOSEN]
    numbers = {table.meanings[at].number for at in read}
    titles = {read_title(table.titles[at]) for at in read}
    return numbers == set(range(1, len(read) + 1)) or len(titles) <= 1


class _SheetLayout:
    """The columns of a table as texts, one step after another."""

    def __init__(
        self, table: FoundTable, choices: Choices, tables: Sequence[FoundTable], sign: str | None
    ) -> None:
        self.table, self.choices, self.tables = table, choices, tables
        self.filled = fill(table)
        self.rows: list[Reading] = list(readings_of(table))
        self.sign = sign or usual_sign(self._numbers())
        self.columns: dict[str, list[str]] = {}
        self.keys: dict[str, str] = {}
        self.starts: Starts | None = None

    def sheet(self, delimiter: str, encoding: str) -> Sheet:
        """Return the sheet."""
        self._take_columns()
        self._take_same()
        self._read_starts()
        groups = self._groups()
        header = self._header()
        return Sheet(
            encoding=encoding,
            delimiter=delimiter,
            header=header,
            numbers=[row.number for row in self.rows],
            cells={self.keys[name]: cells for name, cells in self.columns.items()
                   if name not in HELPERS},
            uncut=self.table.uncut,
            faults=[*questions(self.table), *self._wrong_lengths()],
            groups=groups,
            titles_at=[row.titles for row in self.rows],
            understood=explanations.understood(
                self.table, self.tables, self.filled, self.starts,
                asked=self._absent(), groups=self._named_groups(groups), choices=self.choices,
            ),
        )  # fmt: skip

    def _numbers(self) -> Iterator[str]:
        places = [at for at, title in enumerate(self.table.meanings)
                  if title.column in NUMBER_COLUMNS]  # fmt: skip
        return (cells[at] for _, cells in self.table.rows for at in places)

    def _take_columns(self) -> None:
        for name in dict.fromkeys(title.column for title in self.table.meanings if title.column):
            places = self.table.places(name)
            cells = [row.cell(name) for row in self.rows]
            title = self.table.meanings[places[0]]
            if name in LIST_COLUMNS:
                self.keys[name], self.columns[name] = title.key, cells
            elif name in NUMBER_COLUMNS:
                keys = {self.table.meanings[at].key for at in places}
                if len(keys) > 1:  # readings in different units
                    cells = [with_own_unit(cell, row.key(name)) for cell, row
                             in zip(cells, self.rows, strict=True)]  # fmt: skip
                key, texts = in_one_unit(title, dict.fromkeys(cells), self.sign)
                self.keys[name], self.columns[name] = key, [texts.get(cell, cell) for cell in cells]
            else:
                read = CELLS.get(name, str)
                texts = {cell: read(cell) for cell in dict.fromkeys(cells)}
                self.keys[name], self.columns[name] = name, [texts[cell] for cell in cells]

    def _take_same(self) -> None:
        """Fill columns that the sheet does not have with the values that the user gave."""
        for name, text in self.choices.same.items():
            if not any(self.columns.get(name, ())):
                self.keys[name], self.columns[name] = name, [text] * len(self.rows)

    def _absent(self) -> list[str]:
        """Return the columns that a person may give once for all rows."""
        absent = [name for name in SAME_FOR_ALL if not any(self.columns.get(name, ()))]
        has_times = self.starts and any(is_moment(text) for text in self.starts.texts)
        return [name for name in absent if name != "time_of_day" or not has_times]

    def _read_starts(self) -> None:
        """Make the start of each row's session of its day and its time."""
        clocks = self.columns.get("time_of_day", [""] * len(self.rows))
        days = self.columns.get("session_started_at") or clocks
        if not any(days):
            return
        benches = self.columns.get("bench", [""] * len(self.rows))
        self.starts = read_starts(days, clocks, benches, self.choices.order)
        self.keys["session_started_at"] = "session_started_at"
        self.columns["session_started_at"] = self.starts.texts

    def _groups(self) -> list[int] | None:
        """Return the number of each row's trial; None if the sheet names trials or counts runs."""
        if any(row.titles for row in self.rows):
            return [row.at for row in self.rows]
        if "client_ref" in self.columns:
            return None
        if all(self.columns.get("trial_number", ("",))):
            return self._numbered((*IDENTITY, "trial_number"))
        if "run" in self.columns:
            return None
        own = (*OF_READINGS, "note", "time_of_day", "duration_s")
        return self._neighbours([name for name in self.columns if name not in own])

    def _cells_of(self, names: Sequence[str]) -> Iterator[tuple[str, ...]]:
        """Yield the cells of each row in the named columns."""
        columns = [self.columns[name] for name in names if name in self.columns]
        return zip(*columns, strict=True) if columns else iter([()] * len(self.rows))

    def _neighbours(self, names: Sequence[str]) -> list[int]:
        """Return a number for each row; neighbours with equal cells share it."""
        changes = [above != cells for above, cells in pairwise(self._cells_of(names))]
        return list(accumulate(changes, initial=0))

    def _numbered(self, names: Sequence[str]) -> list[int]:
        """Return a number for each row; rows with equal cells share it, wherever they are."""
        numbers: dict[tuple[str, ...], int] = {}
        return [numbers.setdefault(cells, len(numbers)) for cells in self._cells_of(names)]

    def _named_groups(self, groups: list[int] | None) -> int:
        """Return how many trials were made of several rows."""
        if groups is None or any(row.titles for row in self.rows):
            return 0
        return sum(rows > 1 for rows in Counter(groups).values())

    def _wrong_lengths(self) -> list[FieldError]:
        needs = self.table.needs
        return [wrong_length(number, len(cells), needs)
                for number, cells in self.table.uncut.items()]  # fmt: skip

    def _header(self) -> Header:
        titles, keys, fields = [], [], {}
        for name in self.columns:
            if name in HELPERS:
                continue
            places = self.table.places(name)
            titles.append(self.table.titles[places[0]] if places else name)
            keys.append(self.keys[name])
            fields[self.keys[name]] = name
        return Header(titles, keys, fields)


CELLS = {"kind": kind_of, "build": whole_number, "run": whole_number}

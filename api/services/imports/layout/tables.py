"""Find the tables of a sheet: their titles, their rows, and the rows around and between them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from api.services.imports.layout.rows import Row, without_merged
from api.services.imports.layout.title_words import SUMMARIES
from api.services.imports.layout.titles import OF_READINGS, Title, plain, read_title
from api.services.imports.sheet import has_cut_number

#: Rows that are looked at for titles, and the fewest titles with a known meaning.
LOOKED_AT, FEWEST, FEWEST_BELOW = 40, 2, 3
SUB_TITLE = re.compile(r"[^\W\d]{0,12}\.?\s*#?([1-9][0-9]?)\.?")
COMMENT = ("#", "//")


@dataclass(slots=True)
class FoundTable:
    """One table of a sheet.

    `number` is that of its row of titles, `titles` are those of one or two rows, and `meanings`
    what each means; `rows` are its rows with their numbers; `headline` is the text above it.
    `skipped` are the numbers of rows that are no trials, by reason: `above`, `comment`, `summary`
    (an average or a total) and `titles` (the titles once more).
    """

    number: int
    titles: list[str]
    meanings: list[Title]
    rows: list[Row] = field(default_factory=list)
    headline: str = ""
    skipped: dict[str, list[int]] = field(default_factory=dict)
    #: Rows with too few cells, or with so many that a decimal comma may have cut a number.
    uncut: dict[int, list[str]] = field(default_factory=dict)

    def skip(self, reason: str, number: int) -> None:
        """Note that a row is no trial."""
        self.skipped.setdefault(reason, []).append(number)

    def places(self, column: str) -> list[int]:
        """Return the positions of the columns with a meaning."""
        return [at for at, title in enumerate(self.meanings) if title.column == column]


def find_tables(rows: Sequence[Row], delimiter: str = "") -> list[FoundTable]:
    """Return the tables of a sheet, in their order; empty if no row looks like titles."""
    starts = _title_rows(rows)
    ends = [*starts, len(rows)][1:]
    tables: list[FoundTable] = []
    for start, end in zip(starts, ends, strict=True):
        table = _table(rows, start, end, delimiter)
        table.headline = _headline(rows, start)
        before = next((each for each in tables if each.titles == table.titles), None)
        if before is None:
            tables.append(table)
            continue
        before.skip("titles", table.number)
        before.rows += table.rows
        before.uncut |= table.uncut
        for reason, numbers in table.skipped.items():
            before.skipped.setdefault(reason, []).extend(numbers)
    for number, cells in rows[: starts[0] if starts else 0]:
        if any(cells):
            tables[0].skip("above", number)
    return tables


def _title_rows(rows: Sequence[Row]) -> list[int]:
    """Return the positions of rows of titles: the best of the first ones, and any like it below."""
    scores = [_score(cells) for _, cells in rows[:LOOKED_AT]]
    first = max(range(len(scores)), key=lambda at: (scores[at], -at), default=None)
    if first is None or scores[first] < FEWEST:
        return []
    below = range(first + 1, len(rows))
    return [first, *(at for at in below if _score(rows[at][1]) >= FEWEST_BELOW)]


def _score(cells: Sequence[str]) -> int:
    """Return how many cells are titles with a known meaning; numbers speak against it."""
    filled = [cell for cell in cells if cell]
    if sum(any(map(str.isalpha, cell)) for cell in filled) < FEWEST:
        return 0
    known = sum(bool(read_title(cell).column) for cell in filled)
    numbers = sum(cell.lstrip("+-'")[:1].isdigit() for cell in filled)
    return known - 2 * numbers


def _headline(rows: Sequence[Row], start: int) -> str:
    """Return the text of the row above the titles, if nothing but that is in it."""
    if start == 0:
        return ""
    filled = [cell for cell in rows[start - 1][1] if cell]
    return filled[0] if len(filled) == 1 else ""


def _table(rows: Sequence[Row], start: int, end: int, delimiter: str) -> FoundTable:
    number, cells = rows[start]
    titles, used = without_merged(cells), start + 1
    if used < end and (below := _with_second_row(titles, without_merged(rows[used][1]))):
        titles, used = below, used + 1
    while titles and not titles[-1]:
        titles.pop()
    table = FoundTable(number, titles, [read_title(title) for title in titles])
    for row_number, row in rows[used:end]:
        reason = _no_trial(row, table)
        if reason:
            table.skip(reason, row_number)
        elif any(row):
            is_longer = delimiter == "," and len(row) > len(cells)
            is_cut = len(row) < len(titles) or (is_longer and has_cut_number(row))
            if is_cut and not _is_label(row, table):
                table.uncut[row_number] = row
            else:
                table.rows.append((row_number, row))
    return table


def _with_second_row(titles: list[str], below: list[str]) -> list[str] | None:
    """Return titles joined with a second row of units or of numbers of readings, if it is one."""
    width = max(len(titles), len(below))
    pairs = list(zip(_padded(titles, width), _padded(below, width), strict=True))
    filled = [(title, under) for title, under in pairs if under]
    if len(filled) < FEWEST:
        return None
    if all(title and _is_unit(title, under) for title, under in filled):
        return [f"{title} ({_bare(under)})" if under else title for title, under in pairs]
    joined, group = [], ""
    for title, under in pairs:
        group = title or group
        number = SUB_TITLE.fullmatch(under)
        if under and (number is None or read_title(group).column not in OF_READINGS):
            return None
        joined.append(f"{group} {number[1]}" if number else title)
    return joined


def _padded(cells: Sequence[str], width: int) -> list[str]:
    return [*cells, *[""] * (width - len(cells))]


def _bare(unit: str) -> str:
    return unit.strip("()[] ")


def _is_unit(title: str, under: str) -> bool:
    own, with_unit = read_title(title), read_title(f"{title} ({_bare(under)})")
    return bool(own.column) and with_unit.column == own.column and with_unit.has_unit


def _no_trial(cells: Sequence[str], table: FoundTable) -> str:
    """Return why a row is no trial; empty if it may be one."""
    at = next((at for at, cell in enumerate(cells) if cell), 0)
    first = cells[at] if cells else ""
    if first.startswith(COMMENT):
        return "comment"
    words = plain(first)
    is_summary = any(words == each or words.startswith(f"{each} ") for each in SUMMARIES)
    return "summary" if is_summary and not _has_setting(cells[at + 1 :], at + 1, table) else ""


def _is_label(cells: Sequence[str], table: FoundTable) -> bool:
    """Tell whether a row has nothing but a team's name."""
    return [at for at, cell in enumerate(cells) if cell] == table.places("team")


def _has_setting(cells: Sequence[str], first: int, table: FoundTable) -> bool:
    """Tell whether cells say when or with what they were measured, as beside a team named Max.

    `first` is the position of the first cell.
    """
    places = table.places("session_started_at") or [
        at for name in ("load_ohm", "pitch_deg", "build") for at in table.places(name)
    ]
    return any(0 <= at - first < len(cells) and cells[at - first] for at in places)

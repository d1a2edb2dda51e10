"""Read the visible sheets of a workbook from standard input and print their rows as CSV.

Run in a process of its own with limits on memory, time and output: workbooks come from unknown
sources, and unpacking one can exhaust the memory. Print a line of JSON with facts about each sheet
and the length of its text, then the rows of all sheets as CSV, and exit with 0; or print
{"refused": code, "values": {…}}, from which the parent makes a message, and exit with 3. Hidden
rows are printed empty, so that row numbers stay the same.
"""

import csv
import io
import json
import math
import re
import sys
import zipfile
from dataclasses import dataclass, field
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from xml.etree import ElementTree

MOST_UNPACKED_BYTES, MOST_PARTS = 60_000_000, 200
MOST_COLUMNS, MOST_SHEETS = 200, 20
#: The most characters in one cell of a spreadsheet, and in all cells together: a file of a few
#: kilobytes can repeat one long text a hundred thousand times.
MOST_IN_CELL, MOST_CHARACTERS = 32_767, 20_000_000
MOST_MERGED = 100_000
MEMORY_BYTES, CPU_SECONDS, WRITTEN_BYTES = 600_000_000, 10, 100_000_000
#: Parts of a workbook that run something or fetch something.
ACTIVE = ("vbaproject", "activex", "externallinks/", "embeddings/", "macrosheets/")

NAMESPACE = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
#: The text for a cell without a value of its own; it is read as no number, date or yes.
FORMULA, MERGED = "(formula without a stored result)", "(merged cell)"
#: The text for a cell to the right of the first column of a merged area.
BESIDE = "(merged with the cell to the left)"
#: Text that looks like a number is marked with an apostrophe, as in spreadsheets.
TEXT_NUMBER = re.compile(r"[+\-\u2212]?[0-9]+([.,][0-9]+)?")
LIKE_THOUSANDS = re.compile(r"-?[1-9][0-9]{0,2}\.[0-9]{3}")
#: Parts of a number format: literal text, and (`SCALED`) a comma that divides by a thousand.
LITERAL = re.compile(r'"[^"]*"|\\.|_.|\*.|\[[^\]]*\]')
#: Parts of a number format: quoted words, a letter after a backslash, a currency in brackets.
SHOWN_AS_IT_IS = re.compile(r'"([^"]*)"|\\(.)|\[\$([^\]-]*)[^\]]*\]')
SCALED = re.compile(r"[0#?],+(\D*$|\.)")


class Refused(Exception):
    """A workbook that is refused: the code of a message, and its values."""

    def __init__(self, code: str, **values: int | str) -> None:
        super().__init__(code)
        self.code, self.values = code, values


def limit() -> None:
    """Limit memory and time to the needs of a season's workbook."""
    try:
        import resource
    except ImportError:  # this system has no such limits; the parent's time limit still holds
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (WRITTEN_BYTES, WRITTEN_BYTES))


def inspect(body: bytes) -> None:
    """Refuse a file that is not a plain workbook, before unpacking it."""
    if body[:4] == b"\xd0\xcf\x11\xe0":
        raise Refused("protected")
    try:
        parts = zipfile.ZipFile(io.BytesIO(body)).infolist()
    except zipfile.BadZipFile as error:
        raise Refused("no_workbook") from error
    names = [part.filename.lower() for part in parts]
    if "xl/workbook.xml" not in names:
        raise Refused("no_workbook")
    if any(mark in name for name in names for mark in ACTIVE):
        raise Refused("active")
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED_BYTES:
        raise Refused("large")


def read(body: bytes, most_rows: int) -> list[tuple[dict[str, Any], list[list[str]]]]:
    """Return facts about each visible sheet, and its rows as text; hidden rows are empty."""
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(body), read_only=True, data_only=True, keep_links=False)
    sheets = [each for each in book.worksheets if each.sheet_state == "visible"]
    if not sheets:
        raise Refused("all_hidden")
    hidden = [each.title for each in book.worksheets if each not in sheets]
    characters = 0
    found = []
    for sheet in sheets[:MOST_SHEETS]:
        about, rows = _read_sheet(sheet, most_rows, MOST_CHARACTERS - characters)
        characters += sum(len(cell) + 1 for row in rows for cell in row)
        others = [each.title for each in sheets if each is not sheet]
        found.append((about | {"other_sheets": others, "hidden_sheets": hidden}, rows))
    return found


def _read_sheet(
    sheet: Any, most_rows: int, most_characters: int
) -> tuple[dict[str, Any], list[list[str]]]:
    layout = read_layout(sheet._get_source())
    sheet.reset_dimensions()
    rows: list[list[str]] = []
    characters = 0
    for number, cells in enumerate(sheet.iter_rows(), start=1):
        if len(cells) > MOST_COLUMNS:
            raise Refused("many_columns", most=MOST_COLUMNS)
        is_hidden = number > 1 and number in layout.hidden_rows
        rows.append([] if is_hidden else _row(cells, number, layout))
        characters += sum(len(cell) + 1 for cell in rows[-1])
        if len(rows) > most_rows + 1:
            raise Refused("many_rows", most=most_rows)
        if characters > most_characters:
            raise Refused("much_text")
    about = {
        "sheet": sheet.title,
        "hidden_rows": sorted(row for row in layout.hidden_rows if 1 < row <= len(rows)),
    }
    return about | {"hidden_columns": _drop_hidden(rows, layout.hidden_columns)}, trimmed(rows)


@dataclass
class Layout:
    """The hidden, merged and unresolved parts of a sheet; rows and columns count from 1."""

    hidden_rows: set[int] = field(default_factory=set)
    hidden_columns: set[int] = field(default_factory=set)
    #: Cells by their address, such as B4.
    without_result: set[str] = field(default_factory=set)
    #: The text of each cell that a merged area covers, by row and column.
    merged: dict[int, dict[int, str]] = field(default_factory=dict)
    merged_count: int = 0


def read_layout(source: Any) -> Layout:
    """Return the layout of a sheet from its XML; the reader of cells does not give it."""
    layout, row = Layout(), 0
    for event, element in ElementTree.iterparse(source, events=("start", "end")):
        name = element.tag.removeprefix(NAMESPACE)
        if event == "start":
            if name == "row":
                row = int(element.get("r", row + 1))
                if _is_hidden(element, "ht"):
                    layout.hidden_rows.add(row)
            continue
        if name == "col" and _is_hidden(element, "width"):
            first, last = int(element.get("min", 1)), int(element.get("max", 1))
            layout.hidden_columns |= set(range(first, min(last, MOST_COLUMNS) + 1))
        elif name == "c" and element.find(f"{NAMESPACE}f") is not None:
            result = element.find(f"{NAMESPACE}v")
            if result is None or result.text is None:
                layout.without_result.add(str(element.get("r")))
        elif name == "mergeCell":
            _note_merged(str(element.get("ref")), layout)
        if name in ("row", "mergeCell"):
            element.clear()
    return layout


def _is_hidden(element: Any, size: str) -> bool:
    return element.get("hidden") in ("1", "true") or element.get(size) == "0"


def _note_merged(area: str, layout: Layout) -> None:
    """Note the cells of a merged area, except its first one, which has the value."""
    from openpyxl.utils import range_boundaries

    first_column, first_row, last_column, last_row = range_boundaries(area)
    layout.merged_count += (last_column - first_column + 1) * (last_row - first_row + 1)
    if layout.merged_count > MOST_MERGED:
        raise Refused("many_merged")
    for row in range(first_row, last_row + 1):
        covered = layout.merged.setdefault(row, {})
        covered |= dict.fromkeys(
            range(first_column + 1, min(last_column, MOST_COLUMNS) + 1), BESIDE
        )
        if row > first_row:
            covered[first_column] = MERGED


def _row(cells: Any, number: int, layout: Layout) -> list[str]:
    """Return the cells of a row as text."""
    texts = [written(cell.value, cell.number_format) if cell.value is not None else ""
             for cell in cells]  # fmt: skip
    if layout.without_result:
        for at, cell in enumerate(cells):
            if cell.value is None and getattr(cell, "coordinate", "") in layout.without_result:
                texts[at] = FORMULA
    covered = layout.merged.get(number, {})
    texts += [""] * (max(covered, default=0) - len(texts))
    for column, text in covered.items():
        texts[column - 1] = text
    return texts


def _drop_hidden(rows: list[list[str]], hidden: set[int]) -> list[str | int]:
    """Remove hidden columns from rows, and return their titles, or their numbers."""
    width = len(rows[0]) if rows else 0
    positions = sorted((at - 1 for at in hidden), reverse=True)
    titles = [rows[0][at] or at + 1 for at in positions if at < width]
    for row in rows:
        for at in positions:
            del row[at : at + 1]
    return titles[::-1]


def written(value: Any, number_format: str = "General") -> str:
    """Return a cell as a person would type it, in the format that the sheet shows.

    >>> written(0.45, "0%"), written(1.234), written("1,200"), written(datetime(2026, 3, 5))
    ('45%', '1.2340', "'1,200", '2026-03-05 00:00')
    >>> written(datetime(2026, 3, 5), "yyyy-mm-dd")
    '2026-03-05'
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, datetime):
        return _moment(value, number_format)
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, int | float):
        return _number(value, number_format)
    text = str(value)
    if len(text) > MOST_IN_CELL:
        raise Refused("long_cell", most=MOST_IN_CELL)
    return f"'{text}" if TEXT_NUMBER.fullmatch(text.strip()) else text


def _moment(value: datetime, number_format: str) -> str:
    """Return a day and time, or only the day if the cell shows no time."""
    shows_time = "h" in LITERAL.sub("", number_format).lower() or number_format == "General"
    if not shows_time:
        return value.date().isoformat()
    return value.isoformat(sep=" ", timespec="seconds" if value.second else "minutes")


def _number(value: float, number_format: str) -> str:
    """Return a number as the cell shows it: in percent, with a unit, or scaled by thousands."""
    positive = number_format.split(";", maxsplit=1)[0]
    shown = LITERAL.sub("", positive)
    if "%" in shown:
        return f"{_plain(value * 100)}%"
    if SCALED.search(shown):
        return f"{_plain(value)} (shown in thousands)"
    letters = "".join(map("".join, SHOWN_AS_IT_IS.findall(positive))).strip()
    has_unit = any(each.isalpha() or each in "°%‰" for each in letters)
    return f"{_plain(value)} {letters}" if has_unit else _plain(value)


def _plain(value: float) -> str:
    """Return a number in digits; decimals never look like thousands."""
    if not math.isfinite(value):
        return str(value)
    text = format(Decimal(f"{value:.15g}"), "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text}0" if LIKE_THOUSANDS.fullmatch(text) else text


def trimmed(rows: list[list[str]]) -> list[list[str]]:
    """Return rows without empty rows and cells at the end, padded to the widest one's width."""
    while rows and not any(rows[-1]):
        rows.pop()
    filled = [_without_end(row) for row in rows]
    width = max(map(len, filled), default=0)
    return [row + [""] * (width - len(row)) for row in filled]


def _without_end(row: list[str]) -> list[str]:
    width = max((at for at, cell in enumerate(row, start=1) if cell), default=0)
    return row[:width]


def main() -> int:
    """Read a workbook from standard input; print its sheet or why it is refused."""
    limit()
    body = sys.stdin.buffer.read()
    out = io.TextIOWrapper(sys.stdout.buffer, encoding="utf-8", newline="")
    try:
        inspect(body)
        sheets = read(body, int(sys.argv[1]))
    except Refused as refused:
        return _refuse(out, refused)
    except MemoryError:
        return _refuse(out, Refused("much_memory"))
    except Exception as error:  # any error of the reader means a broken file
        return _refuse(out, Refused("unreadable", error=type(error).__name__))
    texts = [_as_csv(rows) for _, rows in sheets]
    facts = [about | {"characters": len(text)}
             for (about, _), text in zip(sheets, texts, strict=True)]  # fmt: skip
    out.write(json.dumps({"sheets": facts}) + "\n" + "".join(texts))
    out.flush()
    return 0


def _as_csv(rows: list[list[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerows(rows)
    return text.getvalue()


def _refuse(out: io.TextIOWrapper, refused: Refused) -> int:
    out.write(json.dumps({"refused": refused.code, "values": refused.values}) + "\n")
    out.flush()
    return 3


if __name__ == "__main__":
    raise SystemExit(main())

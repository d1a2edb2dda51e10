"""Read the first sheet of a workbook from standard input and print its rows as CSV.

Run alone, in a process of its own with limits on memory, time and what it writes: a workbook comes
from anywhere, and unpacking one can take all there is. Prints a line of JSON, {"sheet": name} and
then the rows as CSV, ending with 0; or {"refused": words}, ending with 3.
"""

import csv
import io
import json
import sys
import zipfile
from datetime import date, datetime, time
from typing import Any

MOST_UNPACKED_BYTES, MOST_PARTS = 60_000_000, 200
MOST_COLUMNS = 200
#: What a spreadsheet keeps in one cell, and what all cells may hold together: a file of a few
#: kilobytes can name one long text a hundred thousand times.
MOST_IN_CELL, MOST_CHARACTERS = 32_767, 20_000_000
MEMORY_BYTES, CPU_SECONDS, WRITTEN_BYTES = 600_000_000, 10, 100_000_000
#: Parts of a workbook that run something or fetch something.
ACTIVE = ("vbaproject", "activex", "externallinks/", "embeddings/", "macrosheets/")


class Refused(Exception):
    """A workbook that is not read, in words."""


def limit() -> None:
    """Take no more memory and time than a season's workbook needs."""
    try:
        import resource
    except ImportError:  # no such limits on this system; the parent's clock still counts
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (WRITTEN_BYTES, WRITTEN_BYTES))


def inspect(body: bytes) -> None:
    """Refuse what is no plain workbook, before any of it is unpacked."""
    if body[:4] == b"\xd0\xcf\x11\xe0":
        raise Refused("the file is protected by a password, or an old .xls: save it as plain .xlsx")
    try:
        parts = zipfile.ZipFile(io.BytesIO(body)).infolist()
    except zipfile.BadZipFile as error:
        raise Refused("the file is not a workbook (.xlsx)") from error
    names = [part.filename.lower() for part in parts]
    if "xl/workbook.xml" not in names:
        raise Refused("the file is not a workbook (.xlsx)")
    if any(mark in name for name in names for mark in ACTIVE):
        raise Refused("the workbook holds macros, links or embedded files: save it without them")
    if len(parts) > MOST_PARTS or sum(part.file_size for part in parts) > MOST_UNPACKED_BYTES:
        raise Refused("the workbook is far larger than a season's: save the one sheet as CSV")


def read(body: bytes, most_rows: int) -> tuple[str, list[list[str]]]:
    """Return the first sheet's name and its rows as text."""
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(body), read_only=True, data_only=True, keep_links=False)
    sheet = book.worksheets[0]
    sheet.reset_dimensions()
    rows: list[list[str]] = []
    characters = 0
    for cells in sheet.iter_rows(values_only=True):
        if len(cells) > MOST_COLUMNS:
            raise Refused(f"the sheet has more than {MOST_COLUMNS} columns")
        rows.append([written(cell) for cell in cells])
        characters += sum(len(cell) + 1 for cell in rows[-1])
        if len(rows) > most_rows + 1:
            raise Refused(f"the sheet has more than {most_rows} rows; send it in parts")
        if characters > MOST_CHARACTERS:
            raise Refused("the sheet holds far more text than a season's: send it in parts")
    return sheet.title, trimmed(rows)


def written(cell: Any) -> str:
    """Return a cell as it would be typed."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, datetime):
        return cell.isoformat(sep=" ", timespec="minutes")
    if isinstance(cell, date | time):
        return cell.isoformat()
    if isinstance(cell, float):
        return repr(int(cell)) if cell.is_integer() else repr(cell)
    text = str(cell)
    if len(text) > MOST_IN_CELL:
        raise Refused(f"a cell holds more than {MOST_IN_CELL} characters")
    return text


def trimmed(rows: list[list[str]]) -> list[list[str]]:
    """Return rows without empty rows and cells at the end, padded to the first one's width."""
    while rows and not any(rows[-1]):
        rows.pop()
    filled = [_without_end(row) for row in rows]
    width = len(filled[0]) if filled else 0
    return [row + [""] * (width - len(row)) for row in filled]


def _without_end(row: list[str]) -> list[str]:
    width = max((at for at, cell in enumerate(row, start=1) if cell), default=0)
    return row[:width]


def main() -> int:
    """Read standard input; print what was found or why not."""
    limit()
    body = sys.stdin.buffer.read()
    out = io.TextIOWrapper(sys.stdout.buffer, encoding="utf-8", newline="")
    try:
        inspect(body)
        name, rows = read(body, int(sys.argv[1]))
    except Refused as refused:
        return _refuse(out, str(refused))
    except MemoryError:
        return _refuse(out, "the workbook takes too much memory: save the one sheet as CSV")
    except Exception as error:  # whatever a broken file does to the reader is the file's fault
        return _refuse(out, f"the workbook cannot be read ({type(error).__name__})")
    out.write(json.dumps({"sheet": name}) + "\n")
    csv.writer(out, lineterminator="\r\n").writerows(rows)
    out.flush()
    return 0


def _refuse(out: io.TextIOWrapper, words: str) -> int:
    out.write(json.dumps({"refused": words}) + "\n")
    out.flush()
    return 3


if __name__ == "__main__":
    raise SystemExit(main())

"""Read the first sheet of a workbook from standard input and print its rows as JSON.

Run alone, in a process of its own with limits on memory and time: a workbook comes from anywhere,
and unpacking one can take all there is. Ends with 0 and {"sheet", "rows"}, or 3 and {"refused"}.
"""

import io
import json
import sys
import zipfile
from datetime import date, datetime, time
from typing import Any

MOST_UNPACKED_BYTES, MOST_PARTS = 60_000_000, 200
MOST_COLUMNS = 200
MEMORY_BYTES, CPU_SECONDS = 600_000_000, 10
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


def read(body: bytes, most_rows: int) -> dict[str, Any]:
    """Return the first sheet's name and its rows as text."""
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(body), read_only=True, data_only=True, keep_links=False)
    sheet = book.worksheets[0]
    sheet.reset_dimensions()
    rows: list[list[str]] = []
    for cells in sheet.iter_rows(values_only=True):
        if len(cells) > MOST_COLUMNS:
            raise Refused(f"the sheet has more than {MOST_COLUMNS} columns")
        rows.append([written(cell) for cell in cells])
        if len(rows) > most_rows + 1:
            raise Refused(f"the sheet has more than {most_rows} rows; send it in parts")
    return {"sheet": sheet.title, "rows": trimmed(rows)}


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
    return str(cell)


def trimmed(rows: list[list[str]]) -> list[list[str]]:
    """Return rows without empty rows and cells at the end, padded to the first one's width."""
    while rows and not any(rows[-1]):
        rows.pop()
    filled = [_without_end(row) for row in rows]
    width = len(filled[0]) if filled else 0
    return [row + [""] * (width - len(row)) for row in filled]


def _without_end(row: list[str]) -> list[str]:
    while row and not row[-1]:
        row = row[:-1]
    return row


def main() -> int:
    """Read standard input; print what was found or why not."""
    limit()
    body = sys.stdin.buffer.read()
    try:
        inspect(body)
        found = read(body, int(sys.argv[1]))
    except Refused as refused:
        found = {"refused": str(refused)}
    except MemoryError:
        found = {"refused": "the workbook takes too much memory: save the one sheet as CSV"}
    except Exception as error:  # whatever a broken file does to the reader is the file's fault
        found = {"refused": f"the workbook cannot be read ({type(error).__name__})"}
    json.dump(found, sys.stdout)
    return 3 if "refused" in found else 0


if __name__ == "__main__":
    raise SystemExit(main())

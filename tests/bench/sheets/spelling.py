"""Spelling of numbers and lines, and how a workbook stores results of formulas."""

import csv
import io
import re
import zipfile
from decimal import Decimal

from tests.bench.sheets.words import Cell, Habits


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

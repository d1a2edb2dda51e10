"""Write tables as workbooks, with a second sheet about the columns; openpyxl loads on demand."""

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from typing import IO

from api.services.core.safe_cells import protect

MEDIA_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def write_workbook(
    out: IO[bytes],
    title: str,
    names: Sequence[str],
    rows: Iterable[Sequence[object]],
    about: Iterable[Sequence[str]],
) -> None:
    """Write rows below the names of their columns, and a sheet with a line about each column.

    Units are in the second sheet: a row of units below the names makes every column text.
    """
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet(title)
    sheet.freeze_panes = "A2"
    sheet.append(names)
    for row in rows:
        sheet.append([_as_cell(value) for value in row])
    columns = book.create_sheet("Columns")
    for line in about:
        columns.append(line)
    book.save(out)


def _as_cell(value: object) -> object:
    """Return a value as a workbook has it: a moment is in UTC, and has no zone."""
    if isinstance(value, datetime):
        return value.astimezone(UTC).replace(tzinfo=None)
    return protect(value) if isinstance(value, str) else value

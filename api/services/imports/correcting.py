"""Correct single cells of a sheet, with values that a person typed next to their faults."""

import csv
import io
from collections.abc import Mapping

from api.services.imports.layout.rows import likely_delimiter
from api.services.imports.layout.title_rows import LOOKED_AT
from api.services.imports.sheet import records, sep_line

Place = tuple[int, str]


def correct(text: str, cells: Mapping[Place, str], most_rows: int) -> str:
    r"""Return a sheet with new values in cells, each by its row and the title of its column.

    >>> correct("team;volts\nLarch;1,l9\n", {(2, "volts"): "1,19"}, 10)
    'team;volts\nLarch;1,19\n'
    >>> correct("Trial;volts\nr1;1,2\n", {(1, "Trial"): "client_ref"}, 10)
    'client_ref;volts\nr1;1,2\n'
    """
    if not cells:
        return text
    body, named = sep_line(text)
    delimiter = named or likely_delimiter(body)
    rows = list(records(body, delimiter, most_rows))
    for (number, title), value in cells.items():
        titles_at, at = _place(rows, title)
        if at is not None and (titles_at < number <= len(rows) or (number == titles_at and value)):
            _put(rows[number - 1], at, value)
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return text[: len(text) - len(body)] + out.getvalue()


def _place(rows: list[list[str]], title: str) -> tuple[int, int | None]:
    """Return the number of the row of titles and the position of a title in it, if there is one."""
    for number, row in enumerate(rows[:LOOKED_AT], start=1):
        titles = [cell.strip() for cell in row]
        if title in titles:
            return number, titles.index(title)
    return 0, None


def _put(row: list[str], at: int, value: str) -> None:
    row += [""] * (at + 1 - len(row))
    row[at] = value

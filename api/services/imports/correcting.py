"""Correct single cells of a sheet, with values that a person typed next to their faults."""

import csv
import io
from collections.abc import Mapping

from api.services.imports.sheet import delimiter_of, records, sep_line

Place = tuple[int, str]


def correct(text: str, cells: Mapping[Place, str], most_rows: int) -> str:
    r"""Return a sheet with new values in cells, each by its row (titles are row 1) and title.

    >>> correct("team;volts\nLarch;1,l9\n", {(2, "volts"): "1,19"}, 10)
    'team;volts\nLarch;1,19\n'
    >>> correct("Trial;volts\nr1;1,2\n", {(1, "Trial"): "client_ref"}, 10)
    'client_ref;volts\nr1;1,2\n'
    """
    if not cells:
        return text
    body, named = sep_line(text)
    delimiter = named or delimiter_of(body)
    rows = list(records(body, delimiter, most_rows))
    titles = [title.strip() for title in rows[0]] if rows else []
    for (number, title), value in cells.items():
        if title in titles and (1 < number <= len(rows) or (number == 1 and value)):
            _put(rows[number - 1], titles.index(title), value)
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter, lineterminator="\n").writerows(rows)
    return text[: len(text) - len(body)] + out.getvalue()


def _put(row: list[str], at: int, value: str) -> None:
    row += [""] * (at + 1 - len(row))
    row[at] = value

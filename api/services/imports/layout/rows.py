"""Cut the text of a sheet into numbered rows, whatever is above its titles."""

from collections import Counter
from collections.abc import Sequence
from itertools import islice

from api.services.imports.sheet import DELIMITERS, records, sep_line
from api.services.imports.workbook_child import BESIDE, MERGED

Row = tuple[int, list[str]]
LINES_LOOKED_AT, COUNTED = 60, 6


def numbered_rows(text: str, most_rows: int) -> tuple[list[Row], str]:
    """Return the rows of a text with their numbers and stripped cells, and the delimiter."""
    body, named = sep_line(text)
    delimiter = named or likely_delimiter(body)
    first = 1 if body is text else 2
    rows = enumerate(records(body, delimiter, most_rows), start=first)
    return [(number, [cell.strip() for cell in cells]) for number, cells in rows], delimiter


def likely_delimiter(text: str) -> str:
    r"""Return the delimiter that cuts most lines into as many cells.

    >>> likely_delimiter("Our trials\n\nTeam;Spannung\nLarch;1,20\nBirch;1,31\n")
    ';'
    """
    lines = [line for line in islice(text.split("\n"), LINES_LOOKED_AT) if line.strip()]

    def agreement(delimiter: str) -> int:
        counts = Counter(line.count(delimiter) for line in lines)
        return max((min(cut, COUNTED) * often for cut, often in counts.items()), default=0)

    return max(DELIMITERS, key=agreement)


def own(cell: str) -> str:
    """Return the text of a cell; empty if a merged one covers it."""
    return "" if cell in (MERGED, BESIDE) else cell


def without_merged(cells: Sequence[str]) -> list[str]:
    """Return the cells of a row; those that a merged one covers are empty."""
    return [own(cell) for cell in cells]

"""Find the rows of titles of a sheet, the second row below them, and the text above them."""

import re
from collections.abc import Sequence

from api.services.imports.layout.rows import Row, without_merged
from api.services.imports.layout.titles import OF_READINGS, plain, read_title
from api.services.imports.workbook_child import BESIDE

#: Rows that are looked at for titles, and the fewest titles with a known meaning.
LOOKED_AT, FEWEST, FEWEST_BELOW = 40, 2, 3
#: A reading's number below a wide title, with or without a word for a reading.
WORDS_OF_READINGS = ("run", "trial_number", *OF_READINGS)
OF_READING = re.compile(r"([^\W\d]*)[.\s]*#?([1-9][0-9]?)\.?")


def find_title_rows(rows: Sequence[Row]) -> list[int]:
    """Return the positions of rows of titles: the best of the first ones, and any like it below."""
    scores = [_score(cells) for _, cells in rows[:LOOKED_AT]]
    first = max(range(len(scores)), key=lambda at: (scores[at], -at), default=None)
    if first is None or scores[first] < FEWEST:
        return []
    if first > 0 and _has_second(rows, first - 1):
        first -= 1
    starts = [first]
    for at in range(first + 1, len(rows)):
        is_second = starts[-1] == at - 1 and _has_second(rows, at - 1)
        if _begins_another(rows[at][1]) and not is_second:
            starts.append(at)
    return starts


def _has_second(rows: Sequence[Row], at: int) -> bool:
    """Tell whether the row below a row of titles goes on with them."""
    return at + 1 < len(rows) and read_titles(rows[at][1], rows[at + 1][1])[1] == 2


def _begins_another(cells: Sequence[str]) -> bool:
    """Tell whether a row below the first titles has titles too: some, and no other text."""
    score = _score(cells)
    return score >= FEWEST_BELOW or (score >= FEWEST and score == sum(map(bool, cells)))


def _score(cells: Sequence[str]) -> int:
    """Return how many cells are titles with a known meaning; numbers speak against it."""
    filled = [cell for cell in cells if cell]
    if sum(any(map(str.isalpha, cell)) for cell in filled) < FEWEST:
        return 0
    known = sum(bool(read_title(cell).column) for cell in filled)
    numbers = sum(cell.lstrip("+-'")[:1].isdigit() for cell in filled)
    return known - 2 * numbers


def headline(rows: Sequence[Row], start: int) -> str:
    """Return the text of the row above the titles, if nothing but that is in it."""
    if start == 0:
        return ""
    filled = [cell for cell in without_merged(rows[start - 1][1]) if cell]
    return filled[0] if len(filled) == 1 else ""


def read_titles(cells: Sequence[str], below: Sequence[str]) -> tuple[list[str], int]:
    """Return the titles of a table, and of how many rows they are: one or two.

    A second row has units, or the numbers of readings below a title that spans several columns. A
    merged title of readings is the title of each of its columns.
    """
    titles, under = without_merged(cells), without_merged(below)
    width = max(len(titles), len(under))
    titles, under = _padded(titles, width), _padded(under, width)
    if _are_units(titles, under):
        return [f"{title} ({_bare(unit)})" if unit else title
                for title, unit in zip(titles, under, strict=True)], 2  # fmt: skip
    wide = _wide_titles(titles, under)
    if _are_numbers(wide, under):
        return [f"{wide[at]} {_number(text)}" if text else titles[at]
                for at, text in enumerate(under)], 2  # fmt: skip
    if not any(wide):
        titles = _repeated(titles, cells)
    return titles, 1


def _are_units(titles: Sequence[str], under: Sequence[str]) -> bool:
    filled = [(title, text) for title, text in zip(titles, under, strict=True) if text]
    return len(filled) >= FEWEST and all(title and _is_unit(title, text) for title, text in filled)


def _wide_titles(titles: Sequence[str], under: Sequence[str]) -> list[str]:
    """Return the title of readings above each text of a second row; empty if it is no such row.

    Each text of such a row is below a title that spans several columns with texts.
    """
    wide = [""] * len(titles)
    title = ""
    for at, text in enumerate(under):
        title = titles[at] or title
        if text:
            wide[at] = title
    spans = {name: wide.count(name) for name in wide if name}
    is_second = spans and all(
        count > 1 and read_title(name).column in OF_READINGS for name, count in spans.items()
    )
    return wide if is_second else [""] * len(titles)


def _are_numbers(wide: Sequence[str], under: Sequence[str]) -> bool:
    """Tell whether the texts below each wide title count its readings: 1, 2, 3."""
    for name in {name for name in wide if name}:
        texts = [text for title, text in zip(wide, under, strict=True) if title == name]
        if [_number(text) for text in texts] != list(range(1, len(texts) + 1)):
            return False
    return any(wide)


def _number(text: str) -> int | None:
    """Return the number of a reading; None if a text is none.

    >>> _number("3"), _number("Run 2"), _number("Pitch 10"), _number("1.2")
    (3, 2, None, None)
    """
    found = OF_READING.fullmatch(text)
    if found is None:
        return None
    word = plain(found[1])
    is_reading = word in ("", "v", "u") or read_title(word).column in WORDS_OF_READINGS
    return int(found[2]) if is_reading else None


def _repeated(titles: Sequence[str], cells: Sequence[str]) -> list[str]:
    """Return titles with those of readings in each column that they are merged over."""
    repeated: list[str] = []
    for at, title in enumerate(titles):
        is_merged = at < len(cells) and cells[at] == BESIDE and at > 0
        left = repeated[at - 1] if is_merged else ""
        repeated.append(left if read_title(left).column in OF_READINGS else title)
    return repeated


def _padded(cells: Sequence[str], width: int) -> list[str]:
    return [*cells, *[""] * (width - len(cells))]


def _bare(unit: str) -> str:
    return unit.strip("()[] ")


def _is_unit(title: str, under: str) -> bool:
    own, with_unit = read_title(title), read_title(f"{title} ({_bare(under)})")
    return bool(own.column) and with_unit.column == own.column and with_unit.has_unit

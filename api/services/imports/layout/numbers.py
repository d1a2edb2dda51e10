"""Bring the numbers of a column into one unit: `950 mV` in a column of volts, `4k7`, `71 °F`."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from api.models.core.units import quantity
from api.services.core.safe_cells import MARK
from api.services.imports.cells import NO_UNIT
from api.services.imports.decimal_signs import (
    AMBIGUOUS,
    NUMBER,
    Meaning,
    column_signs,
    readings,
)
from api.services.imports.headers import SPELLINGS
from api.services.imports.layout.title_words import WORDS
from api.services.imports.layout.titles import Title, plain, with_unit

#: A number with spaces between thousands, and a unit behind it.
WITH_UNIT = re.compile(
    r"([+\-\u2212]?(?:[0-9]{1,3}(?:[ '][0-9]{3})+|[0-9]+)(?:[.,][0-9]+)?)\s*([^0-9\s.,][^0-9]*)?"
)
DECIMALS = re.compile(r"[0-9]([.,])[0-9]{1,2}(?![0-9])")
GROUPED = re.compile(r"[+\-\u2212]?[0-9]{1,3}(?:[ '][0-9]{3})+([.,][0-9]+)?")
#: Resistors as they are marked: 4k7 is 4.7 kΩ, 30R is 30 Ω.
MARKED = re.compile(r"([0-9]+)([kKrR\u03a9\u2126])([0-9]*)")
#: Words before the number of a build or a run; none before `#2`.
NUMBER_WORDS = {*WORDS["build"], *WORDS["run"], "v", "nr", "no", "num", ""}
NUMBERED = re.compile(r"([^\W\d]+\.?|#)\s*#?([0-9]{1,6})(?:\.0)?")


@dataclass(frozen=True, slots=True)
class Measured:
    """A number as it was typed, and the key of its column in the unit behind it, if it has one."""

    number: str
    key: str | None


def usual_sign(cells: Iterable[str]) -> str:
    """Return the decimal sign of most numbers of a sheet.

    >>> usual_sign(["1,20", "950 mV", "15,1 km/h"])
    ','
    """
    found = Counter(match[1] for cell in cells for match in DECIMALS.finditer(cell))
    return "," if found[","] > found["."] else "."


def in_one_unit(title: Title, cells: Iterable[str], sign: str) -> tuple[str, dict[str, str]]:
    """Return the key of a column and its cells as numbers in that unit.

    `sign` is the decimal sign of the sheet, with which converted numbers are written.

    Cells that are no number, or have a unit of another quantity, stay as they are: they are refused
    with their place. So is a number without a unit, marked by `?`, among others with a unit that
    the title does not say. If all cells have one unit, their numbers stay as typed.
    """
    texts = {cell: plain_number(cell) for cell in cells if cell}
    measured = {cell: found for cell, text in texts.items() if (found := split(title, text, sign))}
    units = {each.key for each in measured.values()}
    if units <= {None} or (title.has_unit and units <= {None, title.key}):
        return title.key, texts | {cell: each.number for cell, each in measured.items()}
    if len(units) == 1:
        return str(units.pop()), texts | {cell: each.number for cell, each in measured.items()}
    converted = texts | _converted(title, measured, sign)
    if not title.has_unit and units != {None, title.column}:
        converted |= {
            cell: f"{each.number}{NO_UNIT}" for cell, each in measured.items() if not each.key
        }
    return title.column, converted


def plain_number(cell: str) -> str:
    r"""Return a cell with plain spaces, and none between the thousands of a number.

    >>> plain_number("1\u202f200,5"), plain_number("4.1 m/s")
    ('1200,5', '4.1 m/s')
    """
    text = " ".join(cell.split())
    return re.sub(r"[ ']", "", text) if GROUPED.fullmatch(text) else text


def split(title: Title, text: str, sign: str) -> Measured | None:
    """Return the number and the unit of a cell; None if it has no unit of the column's quantity.

    A number with a unit is text even in a workbook of real numbers, and so has a decimal sign of
    its own: it gets that of the sheet, unless it may have thousands.
    """
    marked = MARKED.fullmatch(text)
    if marked and title.column == "load_ohm":
        value = float(f"{marked[1]}.{marked[3] or 0}") * (1000 if marked[2] in "kK" else 1)
        return Measured(_written(value, sign), "load_ohm")
    found = WITH_UNIT.fullmatch(text.removeprefix(MARK))
    if found is None:
        return None
    number = re.sub(r"[ ']", "", found[1])
    if not NUMBER.fullmatch(number):
        return None
    if not found[2]:
        return Measured(text if text.startswith(MARK) else number, None)
    key = with_unit(title.column, found[2].strip())
    if key is None:
        return None
    return Measured(number if AMBIGUOUS.fullmatch(number) else _with_sign(number, sign), key)


def _with_sign(number: str, sign: str) -> str:
    return re.sub("[.,]", sign, number)


def _converted(title: Title, measured: Mapping[str, Measured], sign: str) -> dict[str, str]:
    """Return numbers of several units in SI; those without a unit are in the title's."""
    keys = {cell: each.key or title.key for cell, each in measured.items()}
    by_key: dict[str, list[str]] = {}
    for cell, each in measured.items():
        by_key.setdefault(keys[cell], []).append(each.number)
    signs = column_signs(by_key, dict.fromkeys(by_key, title.column))
    in_si: dict[str, str] = {}
    for cell, each in measured.items():
        meaning: Meaning | None = "decimal"
        if AMBIGUOUS.fullmatch(each.number):
            meaning = signs[keys[cell]].meaning(each.number)
        if meaning is not None:
            in_si[cell] = _written(_si(keys[cell], readings(each.number)[meaning]), sign)
    return in_si


def _si(key: str, value: float) -> float:
    column, unit = SPELLINGS[key]
    return value if unit is None or quantity(column) is None else unit.to_si(value)


def _written(value: float, sign: str) -> str:
    """Return a number with a decimal sign, in a form that cannot be read as thousands."""
    text = _with_sign(f"{value:.12g}", sign)
    return f"{text}0" if AMBIGUOUS.fullmatch(text) else text


def with_own_unit(cell: str, key: str) -> str:
    """Return a number with the unit of its own column; one that has a unit stays as it is.

    >>> with_own_unit("950", "voltage_mv"), with_own_unit("1.2 V", "voltage_mv")
    ('950 mV', '1.2 V')
    """
    column, unit = SPELLINGS[key]
    measured = quantity(column)
    if not cell or measured is None or not NUMBER.fullmatch(cell):
        return cell
    return f"{cell} {measured.symbol if unit is None else unit.symbol}"


def whole_number(cell: str) -> str:
    """Return the number of a build or a run that is written with a word.

    >>> whole_number("Build 2"), whole_number("v3"), whole_number("A1"), whole_number("2b")
    ('2', '3', 'A1', '2b')
    """
    match = NUMBERED.fullmatch(cell)
    is_word = match is not None and (match[1] == "#" or plain(match[1]) in NUMBER_WORDS)
    return match[2] if match and is_word else cell

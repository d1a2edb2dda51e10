"""From the text of a cell to a value, with the reason where it is none."""

import re
from collections.abc import Mapping

from api.errors import FieldError
from api.models.core.units import quantity
from api.models.core.validation import echo
from api.services.core.safe_cells import MARK, unprotect
from api.services.imports.headers import LIST_COLUMNS, NUMBER_COLUMNS
from api.services.imports.separators import (
    AMBIGUOUS,
    NAMED,
    NUMBER,
    ColumnSigns,
    column_signs,
    readings,
    si_field,
    signs_of_one,
    unit_of,
)
from api.services.imports.sheet import Sheet
from api.services.imports.workbook_child import FORMULA, MERGED

YES = frozenset({"true", "yes", "y", "1", "x"})
NO = frozenset({"false", "no", "n", "0"})
OVER_RANGE = frozenset({"ol", "o.l", "o.l.", "0l", "1.", "over", "overload"})
#: Letters that are easily typed for digits.
LOOKALIKES = str.maketrans({"o": "0", "O": "0", "l": "1", "I": "1"})

NAME_IT = ", or name the decimal sign of the whole file (decimal=comma or decimal=point)"

Value = float | int | bool | str | list[float]


class NotAValue(Exception):
    """A cell that does not hold what its column needs."""

    def __init__(self, code: str, words: str, hint: str | None = None) -> None:
        super().__init__(words)
        self.code, self.hint = code, hint

    def at(self, row: int, title: str, cell: str) -> FieldError:
        """Return the fault with its place."""
        return FieldError(self.code, str(self), self.hint, row=row, column=title, value=echo(cell))


def signs_of(sheet: Sheet, named: str | None = None) -> dict[str, ColumnSigns]:
    """Return how the numbers of each number column of a sheet are read, by its key.

    Numbers that a workbook holds as text are read by the evidence among themselves, under the key
    with an apostrophe before it: how its real numbers are written says nothing about them.
    """
    fields = sheet.header.fields
    real: dict[str, list[str]] = {}
    as_text: dict[str, list[str]] = {}
    for key, cells in sheet.cells.items():
        if fields[key] in NUMBER_COLUMNS:
            for number in (n for cell in dict.fromkeys(cells) for n in cell.split()):
                among = as_text if number.startswith(MARK) else real
                among.setdefault(key, []).append(_bare(number, fields[key], key))
    sign = NAMED[named] if named else None
    of_text = column_signs(as_text, fields, sign)
    return column_signs(real, fields, sign) | {f"{MARK}{key}": s for key, s in of_text.items()}


def read_cell(field: str, cell: str, signs: Mapping[str, ColumnSigns], key: str = "") -> Value:
    """Return the value of a cell that is not empty.

    `key` is the name of its column, which may carry another unit than its field; `signs` are those
    of the columns.
    """
    if cell in (FORMULA, MERGED):
        raise NotAValue("no_value", "has no value of its own", _number_hint(cell))
    if field in ("load_connected", "adult_present"):
        return _yes_or_no(cell)
    if field in ("build", "run"):
        return _whole(cell)
    if field in LIST_COLUMNS:
        return [_number(each, signs, field, key or field) for each in cell.split()]
    if field in NUMBER_COLUMNS:
        return _number(cell, signs, field, key or field)
    if field == "kind":
        return re.sub(r"[\s\-]+", "_", cell.lower())
    return unprotect(cell)


def read_number(text: str, name: str) -> float:
    """Return a single number that was typed into the field of a name, with either decimal sign."""
    typed = text.replace("\u2212", "-")
    if AMBIGUOUS.fullmatch(typed):
        return _ambiguous(typed, signs_of_one(name, typed), si_field(name), name)
    signs = ColumnSigns("," if "," in typed else ".")
    return _number(typed, {name: signs}, name, name)


def _yes_or_no(cell: str) -> bool:
    word = cell.lower()
    if word not in YES | NO:
        raise NotAValue("not_yes_or_no", "must be yes or no")
    return word in YES


def _whole(cell: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", cell):
        raise NotAValue("not_a_whole_number", "must be a whole number such as 2")
    return int(cell)


def _number(cell: str, every: Mapping[str, ColumnSigns], field: str, key: str) -> float:
    plain = _bare(cell, field, key)
    signs = every.get((MARK if cell.startswith(MARK) else "") + key, ColumnSigns())
    if plain.lower() in OVER_RANGE:
        raise NotAValue(
            "over_range", "the meter was over its range", "Turn to a larger range and read again."
        )
    if not NUMBER.fullmatch(plain):
        raise NotAValue("not_a_number", "is not a number", _number_hint(plain))
    if AMBIGUOUS.fullmatch(plain):
        return _ambiguous(plain, signs, field, key, NAME_IT)
    _require_sign(plain, signs)
    return float(plain.replace(",", "."))


def _bare(cell: str, field: str, key: str) -> str:
    """Return a number without its text mark, and without a percent sign in a column of percent."""
    plain = cell.removeprefix(MARK).replace("\u2212", "-")
    is_percent = plain.endswith("%") and key == field and field.endswith("_pct")
    return plain[:-1].rstrip() if is_percent else plain


def _require_sign(number: str, signs: ColumnSigns) -> None:
    """Refuse a number with another decimal sign than its file."""
    other = "." if signs.decimal == "," else ","
    if other in number:
        words = f"has '{other}' where the rest of the file has '{signs.decimal}'"
        raise NotAValue("mixed_decimals", words, "Use one decimal sign in the whole file.")


def _ambiguous(number: str, signs: ColumnSigns, field: str, key: str, more: str = "") -> float:
    """Return the value of a number such as 1,200, or ask which of the two it is."""
    values, meaning = readings(number), signs.meaning(number)
    if meaning is None:
        short = f"{values['decimal']:g}".replace(".", "," if "," in number else ".")
        written = f"{short} or {values['thousands']:g}"
        hint = f"{in_words(number, field, key)} Write {written}{more}."
        raise NotAValue("ambiguous_number", f"may mean {written}", hint)
    if meaning == "decimal":
        _require_sign(number, signs)
    return values[meaning]


def in_words(number: str, field: str, key: str) -> str:
    """Return the question which of its two readings an ambiguous number has.

    >>> in_words("1,200", "voltage_v", "voltage_mv")
    'Is it 1.2 mV = 0.0012 V, or 1200 mV = 1.2 V?'
    """
    return f"Is it {', or '.join(_with_unit(v, field, key) for v in readings(number).values())}?"


def choices_of_sign(cell: str, field: str, key: str) -> dict[str, str]:
    """Return what an ambiguous number means under each decimal sign that may be named.

    >>> choices_of_sign("1,200", "voltage_v", "voltage_mv")
    {'comma': '1.2 mV = 0.0012 V', 'point': '1200 mV = 1.2 V'}
    """
    bare = (_bare(each, field, key) for each in cell.split())
    number = next((each for each in bare if AMBIGUOUS.fullmatch(each)), None)
    if number is None:
        return {}
    own = "comma" if "," in number else "point"
    other = "point" if own == "comma" else "comma"
    values = readings(number)
    return {own: _with_unit(values["decimal"], field, key),
            other: _with_unit(values["thousands"], field, key)}  # fmt: skip


def _with_unit(value: float, field: str, key: str) -> str:
    """Return a value with its unit, and in the field's own unit where that is another."""
    unit, measured = unit_of(key, field), quantity(field)
    if unit is not None and measured is not None:
        return f"{value:g} {unit.symbol} = {unit.to_si(value):g} {measured.symbol}"
    return f"{value:g} {measured.symbol}" if measured else f"{value:g}"


def _number_hint(cell: str) -> str | None:
    if NUMBER.fullmatch(cell.translate(LOOKALIKES)):
        return f"Was {cell.translate(LOOKALIKES)} meant (a letter was typed for a digit)?"
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}.*", cell):
        return "The spreadsheet made a date of it: format the column as numbers, and type it again."
    if cell == FORMULA:
        return "Its formula has no stored result: open the workbook, save it, and send it again."
    if cell == MERGED:
        return "It is part of a merged cell: unmerge it, and fill in each row."
    if re.fullmatch(r"[+-]?[0-9]{1,3}([.,' ][0-9]{3})+([.,][0-9]+)?", cell):
        return "Write numbers without a sign between thousands."
    if re.fullmatch(r"[+-]?[0-9]+([.,][0-9]+)?\s*[^\W\d].*", cell):
        return "Write the unit in the column's title, such as voltage_mv, not in the cell."
    if cell.lower() in ("-", "na", "n/a", "nan", "none", "null", "?"):
        return "Leave the cell empty where nothing was measured."
    return None

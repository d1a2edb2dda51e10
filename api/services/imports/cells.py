"""Read the text of a cell as a value, or say why it has none."""

import re
from collections.abc import Mapping

from api.errors import FieldError
from api.messages import say
from api.models.core.units import quantity
from api.models.core.validation import echo
from api.services.core.safe_cells import MARK, unprotect
from api.services.imports.decimal_signs import (
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
from api.services.imports.headers import LIST_COLUMNS, NUMBER_COLUMNS
from api.services.imports.sheet import Sheet
from api.services.imports.workbook_child import BESIDE, FORMULA, MERGED
from api.services.imports.yes_and_no import NO, YES

#: The end of a number without a unit among others with one, as a laid out sheet marks it.
NO_UNIT = " ?"
#: What may be written for the number of a build: the newest one of each team, as 0.
NEWEST = "newest"
OVER_RANGE = frozenset({"ol", "o.l", "o.l.", "0l", "1.", "over", "overload"})
#: Letters that people type instead of digits.
LOOKALIKES = str.maketrans({"o": "0", "O": "0", "l": "1", "I": "1"})

Value = float | int | bool | str | list[float]


class NotAValue(Exception):
    """A cell without a valid value for its column."""

    def __init__(self, code: str, words: str, hint: str | None = None) -> None:
        super().__init__(words)
        self.code, self.hint = code, hint

    def at(self, row: int, title: str, cell: str) -> FieldError:
        """Return the fault with its place."""
        return FieldError(self.code, str(self), self.hint, row=row, column=title, value=echo(cell))


def signs_of(sheet: Sheet, named: str | None = None) -> dict[str, ColumnSigns]:
    """Return the decimal signs of each number column of a sheet, by its key.

    Numbers that a workbook has as text are decided separately, under the key with an apostrophe
    before it: the notation of its real numbers says nothing about them.
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

    `key` is the name of its column, which may have another unit than its field; `signs` are the
    decimal signs of the columns.
    """
    if cell in (FORMULA, MERGED, BESIDE):
        raise NotAValue("no_value", say("import_cell.no_value"), _number_hint(cell))
    if field in ("load_connected", "adult_present"):
        return _yes_or_no(cell)
    if field == "build" and cell.lower() == NEWEST:
        return 0
    if field in ("build", "run"):
        return _integer(cell)
    if field in LIST_COLUMNS:
        return [_number(each, signs, field, key or field) for each in cell.split()]
    if field in NUMBER_COLUMNS:
        return _number(cell, signs, field, key or field)
    if field == "kind":
        return re.sub(r"[\s\-]+", "_", cell.lower())
    return unprotect(cell)


def read_number(text: str, name: str) -> float:
    """Return a number that was typed into the named field, with either decimal sign."""
    typed = text.replace("\u2212", "-")
    if AMBIGUOUS.fullmatch(typed):
        return _ambiguous(typed, signs_of_one(name, typed), si_field(name), name)
    signs = ColumnSigns("," if "," in typed else ".")
    return _number(typed, {name: signs}, name, name)


def _yes_or_no(cell: str) -> bool:
    word = cell.lower()
    if word not in YES | NO:
        raise NotAValue("not_yes_or_no", say("import_cell.not_yes_or_no"))
    return word in YES


def _integer(cell: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", cell):
        raise NotAValue("not_a_whole_number", say("import_cell.not_a_whole_number"))
    return int(cell)


def _number(cell: str, every: Mapping[str, ColumnSigns], field: str, key: str) -> float:
    plain = _bare(cell, field, key)
    signs = every.get((MARK if cell.startswith(MARK) else "") + key, ColumnSigns())
    if plain.lower() in OVER_RANGE:
        words, hint = say("import_cell.over_range"), say("import_hint.over_range")
        raise NotAValue("over_range", words, hint)
    if not NUMBER.fullmatch(plain):
        raise NotAValue("not_a_number", say("import_cell.not_a_number"), _number_hint(plain))
    if AMBIGUOUS.fullmatch(plain):
        return _ambiguous(plain, signs, field, key, in_file=True)
    _require_sign(plain, signs)
    return float(plain.replace(",", "."))


def _bare(cell: str, field: str, key: str) -> str:
    """Return a number without its text mark, and without the percent sign in a percent column."""
    plain = cell.removeprefix(MARK).replace("\u2212", "-")
    is_percent = plain.endswith("%") and key == field and field.endswith("_pct")
    return plain[:-1].rstrip() if is_percent else plain


def _require_sign(number: str, signs: ColumnSigns) -> None:
    """Refuse a number whose decimal sign differs from that of its file."""
    other = "." if signs.decimal == "," else ","
    if other in number:
        words = say("import_cell.mixed_decimals", other=other, sign=signs.decimal)
        raise NotAValue("mixed_decimals", words, say("import_hint.mixed_decimals"))


def _ambiguous(
    number: str, signs: ColumnSigns, field: str, key: str, *, in_file: bool = False
) -> float:
    """Return the value of a number such as 1,200, or refuse it with a question."""
    values, meaning = readings(number), signs.meaning(number)
    if meaning is None:
        short = f"{values['decimal']:g}".replace(".", "," if "," in number else ".")
        either = {"short": short, "long": values["thousands"]}
        asked = either | {"question": in_words(number, field, key)}
        hint = (
            say("import_hint.ambiguous_in_file", **asked)
            if in_file
            else say("import_hint.ambiguous", **asked)
        )
        raise NotAValue("ambiguous_number", say("import_cell.ambiguous", **either), hint)
    if meaning == "decimal":
        _require_sign(number, signs)
    return values[meaning]


def in_words(number: str, field: str, key: str) -> str:
    """Return the question which of its two values an ambiguous number has.

    >>> in_words("1,200", "voltage_v", "voltage_mv")
    'Is it 1.2 mV = 0.0012 V, or 1200 mV = 1.2 V?'
    """
    first, second = (_with_unit(value, field, key) for value in readings(number).values())
    return say("import_cell.which", first=first, second=second)


def choices_of_sign(cell: str, field: str, key: str) -> dict[str, str]:
    """Return the value of an ambiguous number under each decimal sign, in words.

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
    """Return a value with its unit, and in the SI unit of the field if that differs."""
    unit, measured = unit_of(key, field), quantity(field)
    if unit is not None and measured is not None:
        own, other = unit.symbol, unit.to_si(value)
        return say("import_value.in_both", value=value, unit=own, si=other, si_unit=measured.symbol)
    if measured is not None:
        return say("import_value.with_unit", value=value, unit=measured.symbol)
    return say("import_value.bare", value=value)


#: The forms of cells that are no number, and what to do about each.
FORMS = {
    r".* \?": "which_unit",
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}.*": "date",
    re.escape(FORMULA): "formula",
    f"{re.escape(MERGED)}|{re.escape(BESIDE)}": "merged",
    r"[+-]?[0-9]{1,3}([.,' ][0-9]{3})+([.,][0-9]+)?": "thousands",
    r"[+-]?[0-9]+([.,][0-9]+)?\s*[^\W\d].*": "unit",
    r"(?i:-|na|n/a|nan|none|null|\?)": "leave_empty",
}


def _number_hint(cell: str) -> str | None:
    meant = cell.translate(LOOKALIKES)
    if NUMBER.fullmatch(meant):
        return say("import_hint.lookalike", meant=meant)
    hint = next((hint for form, hint in FORMS.items() if re.fullmatch(form, cell, re.DOTALL)), "")
    return say(f"import_hint.{hint}") if hint else None

"""From the text of a cell to a value, with the reason where it is none."""

import re

from api.errors import FieldError
from api.models.validation import echo
from api.services.imports.headers import LIST_COLUMNS, NUMBER_COLUMNS
from api.services.imports.sheet import Sheet
from api.services.safe_cells import unprotect

NUMBER = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?")
YES = frozenset({"true", "yes", "y", "1", "x"})
NO = frozenset({"false", "no", "n", "0"})
OVER_RANGE = frozenset({"ol", "o.l", "o.l.", "0l", "1.", "over", "overload"})
#: Letters that are easily typed for digits.
LOOKALIKES = str.maketrans({"o": "0", "O": "0", "l": "1", "I": "1"})

Value = float | int | bool | str | list[float]


class NotAValue(Exception):
    """A cell that does not hold what its column needs."""

    def __init__(self, code: str, words: str, hint: str | None = None) -> None:
        super().__init__(words)
        self.code, self.hint = code, hint

    def at(self, row: int, title: str, cell: str) -> FieldError:
        """Return the fault with its place."""
        return FieldError(self.code, str(self), self.hint, row=row, column=title, value=echo(cell))


def decimal_sign(sheet: Sheet) -> str:
    """Return the decimal sign of a file, by the cells of its number columns: most have it."""
    fields = sheet.header.fields
    columns = [cells for key, cells in sheet.cells.items() if fields[key] in NUMBER_COLUMNS]
    commas = sum("," in cell for cells in columns for cell in cells)
    points = sum("." in cell for cells in columns for cell in cells)
    return "," if commas > points else "."


def read_cell(field: str, cell: str, decimal: str) -> Value:
    """Return the value of a cell that is not empty."""
    if field in ("load_connected", "adult_present"):
        return _yes_or_no(cell)
    if field in ("build", "run"):
        return _whole(cell)
    if field in LIST_COLUMNS:
        return [_number(each, decimal) for each in cell.split()]
    if field in NUMBER_COLUMNS:
        return _number(cell, decimal)
    if field == "kind":
        return re.sub(r"[\s\-]+", "_", cell.lower())
    return unprotect(cell)


def _yes_or_no(cell: str) -> bool:
    word = cell.lower()
    if word not in YES | NO:
        raise NotAValue("not_yes_or_no", "must be yes or no")
    return word in YES


def _whole(cell: str) -> int:
    if not re.fullmatch(r"[0-9]{1,6}", cell):
        raise NotAValue("not_a_whole_number", "must be a whole number such as 2")
    return int(cell)


def _number(cell: str, decimal: str) -> float:
    plain = cell.replace("\u2212", "-")
    if plain.lower() in OVER_RANGE:
        raise NotAValue(
            "over_range", "the meter was over its range", "Turn to a larger range and read again."
        )
    if not NUMBER.fullmatch(plain):
        raise NotAValue("not_a_number", "is not a number", _number_hint(plain))
    other = "." if decimal == "," else ","
    if other in plain:
        words = f"has '{other}' where the rest of the file has '{decimal}'"
        raise NotAValue("mixed_decimals", words, "Use one decimal sign in the whole file.")
    return float(plain.replace(",", "."))


def _number_hint(cell: str) -> str | None:
    if NUMBER.fullmatch(cell.translate(LOOKALIKES)):
        return f"Was {cell.translate(LOOKALIKES)} meant (a letter was typed for a digit)?"
    if re.fullmatch(r"[+-]?[0-9]{1,3}([.,' ][0-9]{3})+([.,][0-9]+)?", cell):
        return "Write numbers without a sign between thousands."
    if re.fullmatch(r"[+-]?[0-9]+([.,][0-9]+)?\s*[^\W\d].*", cell):
        return "Write the unit in the column's title, such as voltage_mv, not in the cell."
    if cell.lower() in ("-", "na", "n/a", "nan", "none", "null", "?"):
        return "Leave the cell empty where nothing was measured."
    return None

"""The rows that an import refused, each with its faults, to correct and send again."""

import csv
import io
from typing import Any

from sqlmodel import Session

from api.messages import say
from api.models.imports.imports import ImportBatch
from api.services.core import resources
from api.services.core.safe_cells import FORMULA_STARTS, MARK
from api.services.core.scope import Caller
from api.services.imports.decimal_signs import NUMBER
from api.services.imports.sheet import Sheet


def refused_sheet(sheet: Sheet, wrong: dict[int, list[dict[str, Any]]]) -> dict[str, Any] | None:
    """Return the refused rows of a file with what is wrong, or nothing where none was refused."""
    titles = [title for title, key in zip(sheet.header.titles, sheet.header.keys, strict=True)
              if key]  # fmt: skip
    raw = {number: at for at, number in enumerate(sheet.numbers) if number in wrong}
    cells = {number: [column[at] for column in sheet.cells.values()] for number, at in raw.items()}
    cells |= sheet.uncut
    rows = [
        _with_problem(cells[number], problem(errors), len(titles))
        for number, errors in sorted(wrong.items())
        if number in cells
    ]
    return {"titles": titles, "delimiter": sheet.delimiter, "rows": rows} if rows else None


def _with_problem(cells: list[str], words: str, titles: int) -> list[str]:
    """Return a row with what is wrong under its title; cells beyond the last title follow it."""
    return [*cells[:titles], words, *cells[titles:]]


def problem(errors: list[dict[str, Any]]) -> str:
    """Return in words what is wrong with a row; of a trial's other rows, that it waits for them."""
    words = [
        " ".join(filter(None, (_place(error), error["detail"], error.get("hint"))))
        for error in errors
    ]
    return "; ".join(words) or say("import_row.of_wrong_trial")


def _place(error: dict[str, Any]) -> str:
    return f"{error['column']}:" if error.get("column") else ""


def errors_csv(db: Session, caller: Caller, import_id: str) -> str:
    """Return the refused rows of an import as they came, with a column that says what is wrong."""
    row = resources.get_row(db, caller, ImportBatch, import_id)
    kept = row.refused or {"titles": [], "delimiter": ",", "rows": []}
    out = io.StringIO()
    writer = csv.writer(out, delimiter=kept["delimiter"], lineterminator="\r\n")
    writer.writerow([*kept["titles"], "problem"])
    writer.writerows([_safe(cell) for cell in cells] for cells in kept["rows"])
    return out.getvalue()


def _safe(cell: str) -> str:
    """Return a cell as it came, marked if a spreadsheet would calculate it."""
    is_formula = cell.startswith(FORMULA_STARTS) and not NUMBER.fullmatch(cell)
    return f"{MARK}{cell}" if is_formula else cell

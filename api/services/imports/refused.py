"""Return the rows that an import refused, with their faults, to correct and send again."""

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
    """Return the refused rows of a file with their faults, or None if no row was refused."""
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
    """Return a row with its problem in the last titled column; extra cells follow it."""
    return [*cells[:titles], words, *cells[titles:]]


def problem(errors: list[dict[str, Any]]) -> str:
    """Return the problem of a row in words; a sound row is refused with its trial's other rows."""
    words = [
        " ".join(filter(None, (_place(error), error["detail"], error.get("hint"))))
        for error in errors
    ]
    return "; ".join(words) or say("import_row.of_wrong_trial")


def _place(error: dict[str, Any]) -> str:
    return f"{error['column']}:" if error.get("column") else ""


def errors_csv(db: Session, caller: Caller, import_id: str) -> str:
    """Return the refused rows of an import unchanged, with a `problem` column."""
    row = resources.get_row(db, caller, ImportBatch, import_id)
    refused = row.refused or {"titles": [], "delimiter": ",", "rows": []}
    out = io.StringIO()
    writer = csv.writer(out, delimiter=refused["delimiter"], lineterminator="\r\n")
    writer.writerow([*refused["titles"], "problem"])
    writer.writerows([_safe(cell) for cell in cells] for cells in refused["rows"])
    return out.getvalue()


def _safe(cell: str) -> str:
    """Return a cell unchanged, or marked if a spreadsheet would calculate it."""
    is_formula = cell.startswith(FORMULA_STARTS) and not NUMBER.fullmatch(cell)
    return f"{MARK}{cell}" if is_formula else cell

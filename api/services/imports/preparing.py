"""Read an import before the transaction begins, so that a large file blocks no other request.

A file, pasted cells and a JSON batch all become one shape: a summary of the format, and the trials
with their faults.
"""

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import ValidationError

from api.errors import FieldError, Invalid
from api.models.core.validation import MOST_EXPLAINED, echo, invalid
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import TrialCreate
from api.services.imports.cells import choices_of_sign, signs_of
from api.services.imports.grouping import group
from api.services.imports.headers import PLACE_COLUMNS
from api.services.imports.imported_trial import ImportedTrial
from api.services.imports.json_trials import read_items
from api.services.imports.layout.choices import Choices
from api.services.imports.layout.lay_out import has_trials, lay_out
from api.services.imports.layout.rows import numbered_rows
from api.services.imports.layout.unclear_titles import UNCLEAR
from api.services.imports.moments import is_moment
from api.services.imports.sheet import DELIMITERS, Sheet, decode, read_sheet
from api.services.imports.table import Table, read_table
from api.services.imports.workbook import is_workbook, to_sheet

#: After so many faults of a batch, only the first fault of each further trial is explained.
MOST_FAULTS_EXPLAINED = 2000
AS_IT_IS = Choices()
#: Faults of a file that has no rows or cannot be cut into any.
NO_SHEET = ("empty", "nul", "encoding", "delimiter")
FIRST_ROWS = 5  # shown to the user, so that a wrong decimal sign is noticed


@dataclass(slots=True)
class Prepared:
    """An import that was read, before any query."""

    format: str
    digest: str
    understood: dict[str, Any]
    trials: list[ImportedTrial] = field(default_factory=list)
    loose_faults: list[FieldError] = field(default_factory=list)
    sheet: Sheet | None = None
    opened: list[BenchSession] = field(default_factory=list)

    @property
    def has_unclear_titles(self) -> bool:
        """Tell whether a column may matter whose title nobody explained: then no row is stored."""
        return any(fault.code in UNCLEAR for fault in self.loose_faults)

    @property
    def faults(self) -> list[FieldError]:
        """Return all faults, in the order of rows."""
        all_faults = [*self.loose_faults, *(f for trial in self.trials for f in trial.faults)]
        return sorted(all_faults, key=lambda fault: fault.row or 0)


def prepare_file(
    body: bytes, most_rows: int, decimal: str | None = None, choices: Choices = AS_IT_IS
) -> Prepared:
    """Read a file: a visible sheet of a workbook, or comma- or tab-separated text.

    `decimal` is `point` or `comma` if the user chose the decimal sign.
    """
    if not is_workbook(body):
        return prepare_sheet(body, most_rows, decimal, choices)
    text, about = open_workbook(body, most_rows, choices.sheet)
    prepared = prepare_sheet(text, most_rows, decimal, choices, sign=".")
    prepared.format, prepared.digest = "xlsx", hashlib.sha256(body).hexdigest()
    del prepared.understood["encoding"], prepared.understood["delimiter"]
    prepared.understood |= {key: value for key, value in about.items() if value}
    return prepared


def open_workbook(body: bytes, most_rows: int, named: str = "") -> tuple[bytes, dict[str, Any]]:
    """Return a sheet of a workbook as text: the named one, else the first one with trials."""
    return to_sheet(
        body, most_rows, named, lambda text: has_trials(numbered_rows(text, most_rows)[0])
    )


def prepare_sheet(
    body: bytes,
    most_rows: int,
    decimal: str | None = None,
    choices: Choices = AS_IT_IS,
    sign: str | None = None,
) -> Prepared:
    """Read a CSV or tab-separated file: as it is if it has the titles of the template.

    Any other sheet, and one with faults that its layout explains, is laid out first. `sign` is the
    decimal sign of real numbers, if the sheet is one of a workbook.
    """

    def laid_out_sheet() -> Prepared:
        text, encoding = decode(body)
        rows, delimiter = numbered_rows(text, most_rows)
        return _prepared(lay_out(rows, delimiter, encoding, choices, sign), body, decimal)

    try:
        exact = _prepared(read_sheet(body, most_rows), body, decimal)
    except Invalid as refusal:
        return _understood(laid_out_sheet, refusal)
    wrong = _wrong_cells(exact)
    if choices == AS_IT_IS and not wrong and exact.sheet and _names_runs(exact.sheet):
        return exact
    try:
        laid_out = laid_out_sheet()
    except Invalid:
        return exact
    if not laid_out.trials:
        return exact
    still = _wrong_cells(laid_out)
    is_better = choices != AS_IT_IS or still < wrong or (still == wrong and _asks(laid_out))
    return laid_out if is_better or not wrong else exact


def _asks(work: Prepared) -> bool:
    """Tell whether an answer of a person may make the faults of a sheet disappear."""
    return "asks_day_order" in work.understood or "time_of_day" in work.understood.get(
        "asks_same", ()
    )


def _wrong_cells(work: Prepared) -> int:
    """Return how many cells of a sheet cannot be read."""
    rows = (row for trial in work.trials for row in trial.rows)
    starts = work.sheet.cells.get("session_started_at", []) if work.sheet else []
    days = {text: is_moment(text) for text in dict.fromkeys(starts)}
    unread = sum(not days[text] for text in starts if text)
    return len(work.loose_faults) + sum(len(row.faults) for row in rows) + unread


def _understood(laid_out_sheet: Callable[[], Prepared], refusal: Invalid) -> Prepared:
    """Return a sheet laid out; refuse as before one in which no table with rows is found."""
    if any(fault.code in NO_SHEET for fault in refusal.errors):
        raise refusal
    try:
        laid_out = laid_out_sheet()
    except Invalid as other:
        raise refusal from other
    if not laid_out.trials and not laid_out.loose_faults:
        raise refusal
    return laid_out


def _names_runs(sheet: Sheet) -> bool:
    """Tell whether a sheet itself says which rows are the runs of one trial.

    A number of a run does so only if each row names what it is about.
    """
    columns = {sheet.header.fields[key]: cells for key, cells in sheet.cells.items()}
    names = (columns[name] for name in PLACE_COLUMNS if name in columns)
    is_named = all(all(cells) or not any(cells) for cells in names)
    return "client_ref" in columns or ("run" in columns and is_named)


def _prepared(sheet: Sheet, body: bytes, decimal: str | None) -> Prepared:
    signs = signs_of(sheet, decimal)
    table = read_table(sheet, signs)
    rows = list(table.rows())
    understood = {
        "encoding": sheet.encoding,
        "delimiter": DELIMITERS[sheet.delimiter],
        "decimal_sign": next((each.decimal for each in signs.values()), "."),
        "columns": dict(zip(sheet.header.titles, sheet.header.keys, strict=True)),
        "rows": len(rows),
        "examples_passed_over": len(sheet.numbers) - len(rows),
        "first_rows": [{"row": row.number, **row.typed} for row in rows[:FIRST_ROWS]],
    }
    asked = _asked_sign(table)
    return Prepared(
        format="tsv" if sheet.delimiter == "\t" else "csv",
        digest=hashlib.sha256(body).hexdigest(),
        understood=understood | sheet.understood | ({"asks_decimal_sign": asked} if asked else {}),
        trials=group(rows),
        loose_faults=sheet.faults,
        sheet=sheet,
    )


def _asked_sign(table: Table) -> dict[str, Any] | None:
    """Return the first ambiguous number with its value under each decimal sign."""
    faults = (fault for row in table.rows() for fault in row.faults)
    first = next((fault for fault in faults if fault.code == "ambiguous_number"), None)
    if first is None or first.column is None:
        return None
    key = table.keys[first.column]
    return {"row": first.row, "column": first.column, "value": first.value,
            "readings": choices_of_sign(str(first.value), *key)}  # fmt: skip


def prepare_trials(body: bytes, most_rows: int) -> Prepared:
    """Read a JSON batch of trials."""
    trials: list[ImportedTrial] = []
    fault_count = 0
    for number, item in enumerate(read_items(body, most_rows), start=1):
        trials.append(_of_json(number, item, explained=fault_count < MOST_FAULTS_EXPLAINED))
        fault_count += len(trials[-1].faults)
    return Prepared(
        format="json",
        digest=hashlib.sha256(body).hexdigest(),
        understood={"trials": len(trials)},
        trials=trials,
    )


def _of_json(number: int, item: Any, *, explained: bool) -> ImportedTrial:
    """Return one trial of a batch or its faults; unless `explained`, only the first."""
    ref = item.get("client_ref") if isinstance(item, dict) else None
    trial = ImportedTrial(ref if isinstance(ref, str) else None, number=number)
    try:
        trial.values = TrialCreate.model_validate(item)
    except ValidationError as error:
        trial.client_ref = trial.client_ref and echo(trial.client_ref)
        typed = {"trials": {number - 1: item}}
        most = MOST_EXPLAINED if explained else 1
        refusal = invalid(error, typed, prefix=("trials", number - 1), most=most)
        trial.faults = [replace(fault, row=number) for fault in refusal.errors]
    return trial

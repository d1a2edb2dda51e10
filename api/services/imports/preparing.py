"""Read an import before the transaction begins, so that a large file blocks no other request.

A file, pasted cells and a JSON batch all become one shape: a summary of the format, and the trials
with their faults.
"""

import hashlib
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import ValidationError

from api.errors import FieldError
from api.models.core.validation import MOST_EXPLAINED, echo, invalid
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import TrialCreate
from api.services.imports.cells import choices_of_sign, signs_of
from api.services.imports.grouping import group
from api.services.imports.headers import Header
from api.services.imports.imported_trial import ImportedTrial
from api.services.imports.json_trials import read_items
from api.services.imports.sheet import DELIMITERS, Sheet, read_sheet
from api.services.imports.table import Table, read_table
from api.services.imports.workbook import is_workbook, to_sheet

#: After so many faults of a batch, only the first fault of each further trial is explained.
MOST_FAULTS_EXPLAINED = 2000
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
    def header(self) -> Header | None:
        """Return the columns of a file."""
        return None if self.sheet is None else self.sheet.header

    @property
    def faults(self) -> list[FieldError]:
        """Return all faults, in the order of rows."""
        all_faults = [*self.loose_faults, *(f for trial in self.trials for f in trial.faults)]
        return sorted(all_faults, key=lambda fault: fault.row or 0)


def prepare_file(body: bytes, most_rows: int, decimal: str | None = None) -> Prepared:
    """Read a file: the first visible sheet of a workbook, or comma- or tab-separated text.

    `decimal` is `point` or `comma` if the user chose the decimal sign.
    """
    if not is_workbook(body):
        return prepare_sheet(body, most_rows, decimal)
    text, about = to_sheet(body, most_rows)
    prepared = prepare_sheet(text, most_rows, decimal)
    prepared.format, prepared.digest = "xlsx", hashlib.sha256(body).hexdigest()
    del prepared.understood["encoding"], prepared.understood["delimiter"]
    prepared.understood |= {key: value for key, value in about.items() if value}
    return prepared


def prepare_sheet(body: bytes, most_rows: int, decimal: str | None = None) -> Prepared:
    """Read a CSV or tab-separated file."""
    sheet = read_sheet(body, most_rows)
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
        understood=understood | ({"asks_decimal_sign": asked} if asked else {}),
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

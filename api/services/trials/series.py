"""Attach a logger's file to a run: time and voltage, at equal steps."""

import csv
import io
import math
import re
from itertools import pairwise

from pydantic import ValidationError
from sqlmodel import Session

from api.errors import FieldError, Invalid, NotFound
from api.messages import say
from api.models.core.validation import invalid
from api.models.trials.trials import MOST_SAMPLES, RunCreate, TrialChanges, TrialRead
from api.services.core.scope import Caller
from api.services.trials import corrections, stored_trials, trials

TIME_COLUMNS, VOLTAGE_COLUMNS = ("time_s", "time", "t", "seconds"), ("voltage_v", "voltage", "v")
UNEVEN = 0.10  # [-], largest relative difference of a step from the usual one
LONGEST_STEP_S = 3600.0
DELIMITERS = ",;\t"
#: Numbers of loggers; Python would also accept 1_0 and digits of other scripts.
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)


def attach(db: Session, caller: Caller, trial_id: str, number: int, body: bytes) -> TrialRead:
    """Replace the reading of one run by a logged series; its power uses the mean square."""
    volts, rate_hz = read_series(body)
    row = corrections.open_row(db, caller, trial_id)
    runs = trials.stored_facts(row, trials.runs_of(db, [row.id])[row.id])["runs"]
    if not 1 <= number <= len(runs):
        raise NotFound(say("import_series.no_run", number=number))
    series = {"voltage_v": None, "series_voltage_v": volts, "sample_rate_hz": rate_hz}
    duration = {"duration_s": round(len(volts) / rate_hz, 2)}
    runs[number - 1] = {name: runs[number - 1][name] for name in RunCreate.model_fields}
    runs[number - 1] |= series | duration
    try:
        changes = TrialChanges.model_validate({"runs": runs})
    except ValidationError as error:
        raise invalid(error, {"runs": runs}) from error
    corrections.apply(db, caller, row, changes, say("import_series.reason", number=number))
    return stored_trials.get(db, caller, row.id)


def read_series(body: bytes) -> tuple[list[float], float]:
    r"""Return the voltages of a file [V] and their sample rate [Hz].

    >>> read_series(b"time_s,voltage_v\n0.0,1.20\n0.5,1.21\n1.0,1.19\n")
    ([1.2, 1.21, 1.19], 2.0)
    """
    rows = _rows(body)
    if len(rows) < 2:
        raise _refused(say("import_series.short"), 1)
    if len(rows) > MOST_SAMPLES:
        raise _refused(say("import_series.long", most=MOST_SAMPLES), 1)
    steps = [(later[0], later[1] - before[1]) for before, later in pairwise(rows)]
    usual = sorted(step for _, step in steps)[len(steps) // 2]
    for number, step in steps:
        if not 0 < step < LONGEST_STEP_S:
            raise _refused(say("import_series.unsorted"), number)
    for number, step in steps:
        if abs(step / usual - 1) > UNEVEN:
            raise _refused(say("import_series.gap", step=step, usual=usual), number)
    return [volt for _, _, volt in rows], round(1 / usual, 6)


def _rows(body: bytes) -> list[tuple[int, float, float]]:
    """Return line, time and voltage of each row, however the columns are ordered."""
    records = _records(body)
    titles = [title.strip().casefold() for title in records[0][1]]
    at = [_column(titles, TIME_COLUMNS, "time_s"), _column(titles, VOLTAGE_COLUMNS, "voltage_v")]
    return [
        (line, _number(row, at[0], line), _number(row, at[1], line)) for line, row in records[1:]
    ]


def _records(body: bytes) -> list[tuple[int, list[str]]]:
    """Return the rows that are not empty, with their lines; decimal commas become points."""
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _refused(say("import_series.not_utf8"), 1) from error
    first, _, _ = text.partition("\n")
    delimiter = max(DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    try:
        records = [(reader.line_num, row) for row in reader if any(row)]
    except csv.Error as error:
        raise _refused(say("import_series.uncut"), reader.line_num) from error
    if not records:
        raise _refused(say("import_file.empty"), 1)
    if delimiter == ",":
        return records
    return [(line, [cell.replace(",", ".") for cell in row]) for line, row in records]


def _column(titles: list[str], names: tuple[str, ...], wanted: str) -> int:
    for name in names:
        if name in titles:
            return titles.index(name)
    raise _refused(say("import_series.no_column", wanted=wanted), 1)


def _number(row: list[str], at: int, number: int) -> float:
    cell = row[at].strip() if at < len(row) else ""
    if not NUMBER.fullmatch(cell) or not math.isfinite(value := float(cell)):
        raise _refused(say("import_series.not_a_number", cell=cell[:40]), number)
    return value


def _refused(words: str, row: int) -> Invalid:
    return Invalid(words, [FieldError("series", words, row=row)])

"""Validate the rows of a trial: its place, its session, and its values."""

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from functools import lru_cache
from typing import Any

from pydantic import ValidationError

from api.errors import FieldError
from api.messages import say
from api.models.core.shapes import Input
from api.models.core.validation import field_error
from api.models.registry.sessions import SessionCreate
from api.models.trials.trials import RunCreate, TrialCreate
from api.services.imports.cells import NotAValue
from api.services.imports.imported_trial import ImportedTrial
from api.services.imports.moments import read_moment
from api.services.imports.names import Directory, Unresolved
from api.services.imports.repeated_values import SOUND_RUNS, STAND_IN, validated
from api.services.imports.table import (
    RUN_COLUMNS,
    SESSION_COLUMNS,
    SHARED,
    TRIAL_COLUMNS,
    TRIAL_WIND,
    ReadRow,
    plainly,
)
from api.services.trials.targets import blocked

TRIAL = "trial_"
#: Columns that each row must fill itself, and the code of a refusal.
TICKS = {"adult_present": "supervisor_missing", "load_connected": "load_not_stated"}
#: A spreadsheet shows a day without a time as 00:00; nobody tests then.
MIDNIGHT = re.compile(r"\d{4}-\d\d-\d\d[Tt ]00:00(:00)?")
NOTE_LENGTH = 500


def read_values(trial: ImportedTrial, directory: Directory) -> None:
    """Look up the names in a trial's rows, and validate its values; note every fault."""
    trial.faults = [fault for row in trial.rows for fault in row.faults]
    is_alike = _are_alike(trial.rows)
    rows = trial.rows[:1] if is_alike else trial.rows
    if not is_alike:
        _agree(trial)
    _require_ticks(trial)
    for row in trial.unnamed:
        reason = NotAValue("missing", say("import_cell.unnamed"), say("import_hint.unnamed"))
        trial.add_fault(row, row.title("client_ref"), reason, "client_ref")
    _find_place(trial, directory)
    trial.conditions = _typed_anywhere(rows, SESSION_COLUMNS)
    winds = _typed_anywhere(rows, TRIAL_WIND)
    facts = _typed_anywhere(rows, TRIAL_COLUMNS) | {
        **{key.removeprefix(TRIAL): value for key, value in winds.items()},
        "kind": trial.rows[0].get("kind"),
        "client_ref": trial.client_ref,
        "note": _notes(trial),
        "runs": [row.table.typed(row.at, RUN_COLUMNS) for row in trial.rows],
    }
    _check_shapes(trial, facts)


def _require_ticks(trial: ImportedTrial) -> None:
    """Note each missing tick: a tick in one row does not count for another."""
    for column, code in TICKS.items():
        ticked = [row.get(column) is not None for row in trial.rows]
        is_asked = column == "adult_present" or any(ticked)
        if column in trial.rows[0].table.columns and is_asked:
            for row, is_ticked in zip(trial.rows, ticked, strict=True):
                if not is_ticked:
                    words, hint = say("import_cell.not_ticked"), say(f"import_tick.{column}")
                    reason = NotAValue(code, words, hint)
                    trial.add_fault(row, row.title(column), reason, column)


def _are_alike(rows: list[ReadRow]) -> bool:
    """Tell whether rows agree in all values that the runs of a trial share."""
    shared = rows[0].table.shared
    return all(shared[row.at] == shared[rows[0].at] for row in rows[1:])


def _agree(trial: ImportedTrial) -> None:
    """Note where the rows of one trial contradict each other."""
    first_with: dict[str, ReadRow] = {}
    for row in trial.rows:
        for column, value in row.values.items():
            first = first_with.setdefault(column, row)
            before = first.get(column)
            if value == before or column not in SHARED:
                continue
            if plainly(column, value) != plainly(column, before):
                words = say("import_cell.rows_differ", row=first.number)
                reason = NotAValue("rows_differ", words, say("import_hint.rows_differ"))
                trial.add_fault(row, row.title(column), reason, column)


def _find_place(trial: ImportedTrial, directory: Directory) -> None:
    """Look up build, bench, season and start; note every name and time that is not valid."""
    first = max(trial.rows, key=lambda row: row.table.named_by(row.at))
    unknown: dict[str, NotAValue] = {}
    try:
        trial.place = directory.place(first)
    except Unresolved as unresolved:
        unknown |= unresolved.columns
    try:
        started_at = _started_at(first, trial.place.zone if trial.place else "UTC")
        if trial.place is not None:
            season_id = directory.season_of(trial.place, started_at)
            trial.session = {
                "bench_id": trial.place.bench.id,
                "season_id": season_id,
                "started_at": started_at,
            }
    except Unresolved as unresolved:
        unknown |= unresolved.columns
    for column, reason in unknown.items():
        trial.add_fault(first, first.title(column), reason, column)


def _started_at(row: ReadRow, zone: str) -> datetime:
    text = row.get("session_started_at")
    if text is None:
        raise Unresolved("session_started_at", NotAValue("missing", say("import_cell.needed")))
    try:
        if MIDNIGHT.fullmatch(str(text)):
            words, hint = say("import_moment.midnight"), say("import_moment.midnight_hint")
            raise NotAValue("no_time", words, hint)
        return read_moment(str(text), zone)
    except NotAValue as reason:
        raise Unresolved("session_started_at", reason) from reason


def _typed_anywhere(rows: list[ReadRow], columns: tuple[str, ...]) -> dict[str, Any]:
    """Return the values of columns, each from the first row that has one; the rows agree."""
    values: dict[str, Any] = {}
    for row in rows:
        values = row.table.typed(row.at, columns) | values
    return values


def _notes(trial: ImportedTrial) -> str | None:
    """Return the notes of all rows, each once."""
    notes = dict.fromkeys(str(note) for row in trial.rows if (note := row.get("note")))
    return "; ".join(notes)[:NOTE_LENGTH] or None


SESSION = {"bench_id": "bch_" + "0" * 26, "season_id": "sea_" + "0" * 26,
           "started_at": "2026-01-01T00:00:00Z", "adult_present": True}  # fmt: skip


def _check_shapes(trial: ImportedTrial, facts: dict[str, Any]) -> None:
    """Note every value that a session, a run or a trial refuses, even if names are unknown."""
    try:
        trial.values = validated(facts)
    except ValidationError:  # now each part separately, so that a fault names its cell
        _check(trial, TrialCreate, STAND_IN | facts | {"runs": SOUND_RUNS}, None)
        for row, run in zip(trial.rows, facts["runs"], strict=True):
            _check(trial, RunCreate, run, row)
    if not is_sound_session(trial.conditions):
        _check(trial, SessionCreate, SESSION | trial.conditions, None)
    if trial.values is not None and not trial.faults:
        # A missing adult is reported once the session is known; these are the other refusals.
        trial.faults += located(blocked(trial.values, adult_present=True), trial.rows)


def is_sound_session(conditions: Mapping[str, Any]) -> bool:
    """Tell whether the conditions are valid for a session."""
    return _is_sound_session(tuple(conditions.items()))


@lru_cache(maxsize=1024)
def _is_sound_session(conditions: tuple[tuple[str, Any], ...]) -> bool:
    """Tell whether a session takes these conditions; cached, as a session's trials repeat them."""
    try:
        SessionCreate.model_validate(SESSION | dict(conditions))
    except ValidationError:
        return False
    return True


def _check(
    trial: ImportedTrial,
    kind: type[Input],
    facts: dict[str, Any],
    row: ReadRow | None,
) -> None:
    try:
        kind.model_validate(facts)
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            column = str(fault["loc"][-1]) if fault["loc"] else "voltage_v"
            cell = row or trial.row_of(column)
            at, place = cell.number, {"row": cell.number, "column": cell.title(column)}
            if not any(
                (other.row, other.column) == (at, place["column"]) for other in trial.faults
            ):
                trial.faults.append(field_error(fault, tuple(fault["loc"]), facts, place))


#: The column of a file for a field of the API.
PLACES = {
    "session_id": "adult_present",
    "started_at": "session_started_at",
    "build_id": "build",
    "bench_id": "bench",
}


def located(faults: list[FieldError], rows: list[ReadRow]) -> list[FieldError]:
    """Return faults with their cells in the file instead of JSON pointers."""
    placed = []
    for fault in faults:
        steps = (fault.pointer or "").strip("/").split("/")
        is_run = steps[0] == "runs" and len(steps) > 1
        row = rows[int(steps[1])] if is_run else rows[0]
        name = (steps[2] if len(steps) > 2 else "voltage_v") if is_run else steps[0]
        column = row.title(PLACES.get(name, name)) if name else None
        placed.append(replace(fault, row=row.number, pointer=None, column=column))
    return placed

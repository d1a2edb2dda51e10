"""From rows to trials: rows with the same name are the runs of one trial."""

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from hashlib import sha256
from typing import Any

from pydantic import ValidationError

from api.errors import FieldError
from api.messages import say
from api.models.core.shapes import Input
from api.models.core.validation import field_error
from api.models.registry.sessions import SessionCreate
from api.models.trials.trials import RunCreate, TrialCreate
from api.services.imports.cells import NotAValue
from api.services.imports.headers import Header
from api.services.imports.moments import read_moment
from api.services.imports.names import Directory, Place, Unresolved
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
#: What each row says for itself, and the code of a refusal.
TICKS = {"adult_present": "supervisor_missing", "load_connected": "load_not_stated"}
#: A spreadsheet shows a day without a time as 00:00; nobody tests then.
MIDNIGHT = re.compile(r"\d{4}-\d\d-\d\d[Tt ]00:00(:00)?")
NOTE_LENGTH = 500


@dataclass(slots=True)
class Draft:
    """A trial in the making: its rows, what they speak of, and what is wrong with it.

    `conditions` are its session's, under the names they were typed with; `session` is where and
    when. `sound` is the trial in its shape, pointing nowhere until its session is found.
    """

    rows: list[ReadRow]
    client_ref: str
    place: Place | None = None
    session: dict[str, Any] | None = None
    conditions: dict[str, Any] = field(default_factory=dict)
    faults: list[FieldError] = field(default_factory=list)
    sound: TrialCreate | None = None
    #: Rows without a name below a named trial that they may belong to.
    unnamed: list[ReadRow] = field(default_factory=list)

    def fault(self, row: ReadRow, title: str, reason: NotAValue, column: str) -> None:
        """Note what is wrong in a cell, once."""
        if not any(known.row == row.number and known.column == title for known in self.faults):
            self.faults.append(reason.at(row.number, title, str(row.values.get(column, ""))))

    def row_of(self, column: str) -> ReadRow:
        """Return the first row that fills a column, or the first at all."""
        saying = (row for row in self.rows if row.get(column) is not None)
        return next(saying, self.rows[0])


def group(rows: Iterable[ReadRow]) -> list[Draft]:
    """Return the trials that rows belong to.

    Rows of one build with the same `client_ref` are one trial's runs, also where a name of the
    build is filled in only once. A row without one that counts its `run` on from the row above and
    says the same otherwise continues that trial; where it says the same below a named trial and
    counts nothing, it may be its next run or a trial of its own, so that it is asked about.
    """
    drafts: dict[str, list[Draft]] = {}
    made_up: Counter[str] = Counter()
    above: Draft | None = None
    for row in rows:
        ref = row.get("client_ref")
        if ref is None and above is not None and _continues(row, above.rows[-1]):
            above.rows.append(row)
            continue
        is_unclear = ref is None and above is not None and _may_continue(row, above)
        name = ref if ref is not None else _made_up_ref(row, made_up)
        draft = _draft_of(drafts.setdefault(name, []), name, row)
        draft.rows.append(row)
        if is_unclear:
            draft.unnamed.append(row)
        above = above if is_unclear else draft
    return [draft for named in drafts.values() for draft in named]


def _draft_of(named: list[Draft], name: str, row: ReadRow) -> Draft:
    """Return the draft of that name whose build a row may speak of, a new one if there is none."""
    for draft in named:
        if row.table.may_be_one_build(row.at, draft.rows[0].at):
            return draft
    named.append(Draft([], name))
    return named[-1]


def _continues(row: ReadRow, above: ReadRow) -> bool:
    here, there = row.get("run"), above.get("run")
    counts_on = here is not None and there is not None and here == there + 1
    return counts_on and _is_set_alike(row, above)


def _may_continue(row: ReadRow, above: Draft) -> bool:
    """Tell whether a row that counts nothing may be the next run of the named trial above it."""
    is_named = above.rows[0].get("client_ref") is not None
    return is_named and row.get("run") is None and _is_set_alike(row, above.rows[0])


def _is_set_alike(row: ReadRow, above: ReadRow) -> bool:
    settings = row.table.settings
    return settings[row.at] == settings[above.at]


def _made_up_ref(row: ReadRow, made_up: Counter[str]) -> str:
    """Return a name made of a row's own values, so that the same file sent twice stores it once."""
    base = "row-" + sha256(repr(sorted(row.typed.items())).encode()).hexdigest()[:16]
    made_up[base] += 1
    return base if made_up[base] == 1 else f"{base}-{made_up[base]}"


def shape(draft: Draft, directory: Directory, header: Header) -> None:
    """Find what a draft speaks of and give it the shape of a trial; note every fault."""
    draft.faults = [fault for row in draft.rows for fault in row.faults]
    telling = draft.rows
    if _are_alike(draft.rows):
        telling = draft.rows[:1]
    else:
        _agree(draft, header)
    _require_ticks(draft, header)
    for row in draft.unnamed:
        reason = NotAValue("missing", say("import_cell.unnamed"), say("import_hint.unnamed"))
        draft.fault(row, header.title("client_ref"), reason, "client_ref")
    _find_place(draft, directory, header)
    draft.conditions = _typed_anywhere(telling, SESSION_COLUMNS)
    winds = _typed_anywhere(telling, TRIAL_WIND)
    facts = _typed_anywhere(telling, TRIAL_COLUMNS) | {
        **{key.removeprefix(TRIAL): value for key, value in winds.items()},
        "kind": draft.rows[0].get("kind"),
        "client_ref": draft.client_ref,
        "note": _notes(draft),
        "runs": [row.table.typed(row.at, RUN_COLUMNS) for row in draft.rows],
    }
    _check_shapes(draft, facts, header)


def _require_ticks(draft: Draft, header: Header) -> None:
    """Note each tick that a row leaves out: what was ticked in another row says nothing of it."""
    for column, code in TICKS.items():
        said = [row.get(column) is not None for row in draft.rows]
        is_asked = column == "adult_present" or any(said)
        if column in draft.rows[0].table.columns and is_asked:
            for row, is_said in zip(draft.rows, said, strict=True):
                if not is_said:
                    words, hint = say("import_cell.not_ticked"), say(f"import_tick.{column}")
                    reason = NotAValue(code, words, hint)
                    draft.fault(row, header.title(column), reason, column)


def _are_alike(rows: list[ReadRow]) -> bool:
    """Tell whether rows say the same of all that the runs of a trial share."""
    shared = rows[0].table.shared
    return all(shared[row.at] == shared[rows[0].at] for row in rows[1:])


def _agree(draft: Draft, header: Header) -> None:
    """Note where the rows of one trial say different things about it."""
    first_with: dict[str, ReadRow] = {}
    for row in draft.rows:
        for column, value in row.values.items():
            first = first_with.setdefault(column, row)
            before = first.get(column)
            if value == before or column not in SHARED:
                continue
            if plainly(column, value) != plainly(column, before):
                words = say("import_cell.rows_differ", row=first.number)
                reason = NotAValue("rows_differ", words, say("import_hint.rows_differ"))
                draft.fault(row, header.title(column), reason, column)


def _find_place(draft: Draft, directory: Directory, header: Header) -> None:
    """Find build, bench, season and moment; note every name and time that means nothing."""
    first = max(draft.rows, key=lambda row: row.table.named_by(row.at))
    unknown: dict[str, NotAValue] = {}
    try:
        draft.place = directory.place(first)
    except Unresolved as unresolved:
        unknown |= unresolved.columns
    try:
        started_at = _started_at(first, draft.place.zone if draft.place else "UTC")
        if draft.place is not None:
            season_id = directory.season_of(draft.place, started_at)
            draft.session = {
                "bench_id": draft.place.bench.id,
                "season_id": season_id,
                "started_at": started_at,
            }
    except Unresolved as unresolved:
        unknown |= unresolved.columns
    for column, reason in unknown.items():
        draft.fault(first, header.title(column), reason, column)


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
    """Return what any of some rows says in some columns; rows that say it agree."""
    said: dict[str, Any] = {}
    for row in rows:
        said = row.table.typed(row.at, columns) | said
    return said


def _notes(draft: Draft) -> str | None:
    """Return the notes of all rows, each once."""
    notes = dict.fromkeys(str(note) for row in draft.rows if (note := row.get("note")))
    return "; ".join(notes)[:NOTE_LENGTH] or None


STAND_IN = {"session_id": "ses_" + "0" * 26, "build_id": "bld_" + "0" * 26}
SESSION = {"bench_id": "bch_" + "0" * 26, "season_id": "sea_" + "0" * 26,
           "started_at": "2026-01-01T00:00:00Z", "adult_present": True}  # fmt: skip


def _check_shapes(draft: Draft, facts: dict[str, Any], header: Header) -> None:
    """Note every value that a session, a run or a trial refuses, also where names are unknown."""
    try:
        draft.sound = TrialCreate.model_validate(STAND_IN | facts)
    except ValidationError:  # now each part separately, so that a fault names its cell
        sound_runs = [{"voltage_v": 1.0}]
        _check(draft, TrialCreate, STAND_IN | facts | {"runs": sound_runs}, None, header)
        for row, run in zip(draft.rows, facts["runs"], strict=True):
            _check(draft, RunCreate, run, row, header)
    if not is_sound_session(draft.conditions):
        _check(draft, SessionCreate, SESSION | draft.conditions, None, header)
    if draft.sound is not None and not draft.faults:
        # A missing adult is reported where the session is known; here the other refusals.
        draft.faults += located(blocked(draft.sound, adult_present=True), draft.rows, header)


def is_sound_session(conditions: Mapping[str, Any]) -> bool:
    """Tell whether a session takes these conditions."""
    return _is_sound_session(tuple(conditions.items()))


@lru_cache(maxsize=1024)
def _is_sound_session(conditions: tuple[tuple[str, Any], ...]) -> bool:
    """Tell whether a session takes these conditions; a session's trials all say the same."""
    try:
        SessionCreate.model_validate(SESSION | dict(conditions))
    except ValidationError:
        return False
    return True


def _check(
    draft: Draft, kind: type[Input], facts: dict[str, Any], row: ReadRow | None, header: Header
) -> None:
    try:
        kind.model_validate(facts)
    except ValidationError as error:
        for fault in error.errors(include_url=False):
            column = str(fault["loc"][-1]) if fault["loc"] else "voltage_v"
            at = (row or draft.row_of(column)).number
            place = {"row": at, "column": header.title(column)}
            if not any(
                (known.row, known.column) == (at, place["column"]) for known in draft.faults
            ):
                draft.faults.append(field_error(fault, tuple(fault["loc"]), facts, place))


#: Where a file says what a field of the service says.
PLACES = {
    "session_id": "adult_present",
    "started_at": "session_started_at",
    "build_id": "build",
    "bench_id": "bench",
}


def located(faults: list[FieldError], rows: list[ReadRow], header: Header) -> list[FieldError]:
    """Return faults that have pointers at the cells of a trial's rows."""
    placed = []
    for fault in faults:
        steps = (fault.pointer or "").strip("/").split("/")
        is_run = steps[0] == "runs" and len(steps) > 1
        row = rows[int(steps[1])] if is_run else rows[0]
        name = (steps[2] if len(steps) > 2 else "voltage_v") if is_run else steps[0]
        column = header.title(PLACES.get(name, name)) if name else None
        placed.append(replace(fault, row=row.number, pointer=None, column=column))
    return placed

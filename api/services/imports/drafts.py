"""From rows to trials: rows with the same name are the runs of one trial."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from pydantic import ValidationError

from api.errors import FieldError
from api.models.sessions import SessionCreate
from api.models.trials import RunCreate, TrialCreate
from api.models.units import quantity
from api.models.validation import field_error
from api.services.imports.cells import NotAValue, read_cell
from api.services.imports.headers import Header
from api.services.imports.moments import read_moment
from api.services.imports.names import Directory, Place, Unresolved, plain
from api.services.imports.sheet import Row

SESSION_COLUMNS = (
    "air_temperature_c",
    "pressure_hpa",
    "relative_humidity_pct",
    "warm_up_min",
    "adult_present",
)
RUN_COLUMNS = ("voltage_v", "current_a", "rotor_speed_rpm", "wind_speed_m_s", "duration_s")
TRIAL_COLUMNS = (
    "pitch_deg",
    "load_ohm",
    "load_connected",
    "meter_range_v",
    "rotor_diameter_m",
    "note",
)
NAME_COLUMNS = ("organisation", "team", "turbine", "build", "bench", "session_started_at", "kind")
#: Rows of the template whose name begins so are shown how, not measured.
EXAMPLE = "example"


@dataclass(slots=True)
class ReadRow:
    """One row with its values by column, and under the name each was typed with."""

    number: int
    values: dict[str, Any]
    typed: dict[str, Any]
    faults: list[FieldError]


@dataclass(slots=True)
class Draft:
    """A trial in the making: its rows, what they speak of, and what is wrong with it."""

    rows: list[ReadRow]
    client_ref: str
    place: Place | None = None
    session: SessionCreate | None = None
    trial: dict[str, Any] | None = None
    faults: list[FieldError] = field(default_factory=list)

    def fault(self, row: ReadRow, title: str, reason: NotAValue, column: str) -> None:
        """Note what is wrong in a cell."""
        self.faults.append(reason.at(row.number, title, str(row.values.get(column, ""))))


def read_rows(rows: list[Row], header: Header, decimal: str) -> Iterator[ReadRow]:
    """Yield rows with their values; examples of the template are passed over."""
    for row in rows:
        read = ReadRow(row.number, {"kind": "record"}, {}, [])
        for key, cell in row.cells.items():
            if cell:
                _read(read, key, header.fields[key], cell, header, decimal)
        if not str(read.values.get("client_ref", "")).lower().startswith(EXAMPLE):
            yield read


def _read(row: ReadRow, key: str, column: str, cell: str, header: Header, decimal: str) -> None:
    try:
        row.values[column] = row.typed[key] = read_cell(column, cell, decimal)
    except NotAValue as reason:
        row.faults.append(reason.at(row.number, header.title(column), cell))


def group(rows: Iterator[ReadRow]) -> list[Draft]:
    """Return the trials that rows belong to.

    Rows of one build with the same `client_ref` are one trial's runs. Without one, a row that
    counts its `run` on from the row above and says the same otherwise continues that trial.
    """
    drafts: dict[tuple[Any, ...], Draft] = {}
    above: Draft | None = None
    for row in rows:
        ref = row.values.get("client_ref")
        if ref is None and above is not None and _continues(row, above.rows[-1]):
            above.rows.append(row)
            continue
        name = ref if ref is not None else _made_up_ref(row, drafts)
        key = (name, *(plain(row.values.get(column, "")) for column in NAME_COLUMNS[:4]))
        above = drafts.setdefault(key, Draft([], name))
        above.rows.append(row)
        if ref is not None:
            above = None
    return list(drafts.values())


def _continues(row: ReadRow, above: ReadRow) -> bool:
    here, there = row.values.get("run"), above.values.get("run")
    same = all(
        row.values.get(column) == above.values.get(column)
        for column in (*NAME_COLUMNS, *TRIAL_COLUMNS)
    )
    return same and here is not None and there is not None and here == there + 1


def _made_up_ref(row: ReadRow, drafts: dict[tuple[Any, ...], Draft]) -> str:
    """Return a name made of a row's own values, so that the same file sent twice stores it once."""
    base = "row-" + sha256(repr(sorted(row.typed.items())).encode()).hexdigest()[:16]
    repeats = sum(key[0].startswith(base) for key in drafts)
    return base if not repeats else f"{base}-{repeats + 1}"


def shape(draft: Draft, directory: Directory, header: Header) -> None:
    """Find what a draft speaks of and give it the shape of a trial; note every fault."""
    draft.faults = [fault for row in draft.rows for fault in row.faults]
    _agree(draft, header)
    first = draft.rows[0]
    try:
        draft.place = directory.place(first.values)
        draft.session = _session(draft, first, draft.place, directory, header)
    except Unresolved as unresolved:
        _note_names(draft, unresolved, header)
    draft.trial = _trial(draft)
    _check_numbers(draft, header)


def _note_names(draft: Draft, unresolved: Unresolved, header: Header) -> None:
    """Note which names are not known, unless the cell is already known to be wrong."""
    first, already = draft.rows[0], {fault.column for fault in draft.faults}
    for column, reason in unresolved.columns.items():
        if header.title(column) not in already:
            draft.fault(first, header.title(column), reason, column)


def _agree(draft: Draft, header: Header) -> None:
    """Note where the rows of one trial say different things about it."""
    first = draft.rows[0]
    for row in draft.rows[1:]:
        for column in (*NAME_COLUMNS, *TRIAL_COLUMNS, *SESSION_COLUMNS):
            mine = row.values.get(column)
            if mine is not None and mine != first.values.get(column):
                words = f"differs from row {first.number}, which has the same client_ref"
                reason = NotAValue("rows_differ", words, "Runs of one trial share their settings.")
                draft.fault(row, header.title(column), reason, column)


def _session(
    draft: Draft, row: ReadRow, place: Place, directory: Directory, header: Header
) -> SessionCreate | None:
    """Return the session that a draft's rows describe."""
    text = row.values.get("session_started_at")
    if text is None:
        raise Unresolved("session_started_at", NotAValue("missing", "is needed"))
    try:
        started_at = read_moment(str(text), place.zone)
    except NotAValue as reason:
        raise Unresolved("session_started_at", reason) from reason
    conditions = _under_typed_names(row, SESSION_COLUMNS)
    season_id = directory.season_of(place, started_at)
    facts = {"bench_id": place.bench.id, "season_id": season_id, "started_at": started_at}
    try:
        return SessionCreate.model_validate({"adult_present": False} | facts | conditions)
    except ValidationError as error:
        draft.faults += _located(error, [row], conditions, header)
        return None


def _under_typed_names(row: ReadRow, columns: tuple[str, ...]) -> dict[str, Any]:
    """Return a row's values of some columns under the names they were typed with."""
    names = {name for column in columns for name in (column, *_other_names(column))}
    return {key: value for key, value in row.typed.items() if key in names}


def _other_names(column: str) -> list[str]:
    measured = quantity(column)
    return list(measured.spellings()) if measured else []


def _trial(draft: Draft) -> dict[str, Any]:
    first = draft.rows[0]
    return _under_typed_names(first, TRIAL_COLUMNS) | {
        "kind": first.values["kind"],
        "client_ref": draft.client_ref,
        "runs": [_under_typed_names(row, RUN_COLUMNS) for row in draft.rows],
    }


def _check_numbers(draft: Draft, header: Header) -> None:
    """Note every value that the shape of a trial refuses, also where names are not known yet."""
    facts = dict(draft.trial or {})
    for row in draft.rows:
        try:
            RunCreate.model_validate(_under_typed_names(row, RUN_COLUMNS))
        except ValidationError as error:
            draft.faults += _located(error, [row], row.typed, header)
    facts["runs"] = [{"voltage_v": 1.0}]
    stand_in = {"session_id": "ses_" + "0" * 26, "build_id": "bld_" + "0" * 26}
    try:
        TrialCreate.model_validate(stand_in | facts)
    except ValidationError as error:
        draft.faults += _located(error, draft.rows[:1], facts, header)


def _located(
    error: ValidationError, rows: list[ReadRow], typed: Any, header: Header
) -> Iterator[FieldError]:
    """Yield the faults of a shape at their cells."""
    already = {(fault.row, fault.column) for row in rows for fault in row.faults}
    for fault in error.errors(include_url=False):
        column = str(fault["loc"][-1]) if fault["loc"] else "voltage_v"
        place = {"row": rows[0].number, "column": header.title(column)}
        if (place["row"], place["column"]) not in already:
            yield field_error(fault, tuple(fault["loc"]), typed, place)

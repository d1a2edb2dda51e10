"""Turn rows into the columns that `analysis` calculates with; no other module does.

Every input of a calculation is a column here, for one trial and for a bench.
"""

import json
from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from itertools import repeat
from operator import itemgetter
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import ColumnElement
from sqlmodel import Session

from analysis.columns import CHECK_TEXT_COLUMNS, TEXT_COLUMNS
from api.prepared import Prepared
from api.services.measurements import frame_parts as parts

Array = npt.NDArray[Any]
Columns = dict[str, Array]

#: Columns that are neither numbers nor text, and are converted after reading.
OBJECTS = (
    "numbers",
    "started_at",
    "blade_pitches_deg",
    "anemometer_checked_on",
    "season_starts_on",
    "season_ends_on",
)

IDENTITY = (
    "trial_id",
    "organisation_id",
    "bench_organisation_id",
    "season_id",
    "team_id",
    "turbine_id",
    "build_id",
    "bench_id",
    "session_id",
    "load_id",
    "state",
)

SECONDS_A_DAY = 86_400.0


@dataclass(frozen=True, slots=True)
class Frame:
    """Trials as columns, in the order of their ids, and their runs."""

    trials: Columns
    runs: Columns

    def __len__(self) -> int:
        return len(self.trials["trial_id"])


def read_frame(db: Session, *conditions: ColumnElement[bool]) -> Frame:
    """Return the trials that meet the conditions, with all inputs of their results."""
    return _read(db, parts.frame_queries(*conditions, is_checked=False), is_checked=False)


def read_checked_frame(db: Session, *conditions: ColumnElement[bool]) -> Frame:
    """Return the trials that meet the conditions, with the inputs of the data checks as well."""
    return _read(db, parts.frame_queries(*conditions, is_checked=True), is_checked=True)


def read_checked_trials(db: Session, trial_ids: Sequence[str]) -> Frame:
    """Return a few trials by their ids, with the inputs of the data checks as well."""
    return _read(db, parts.queries_by_id(is_checked=True), is_checked=True, trial_ids=trial_ids)


def _read(db: Session, queries: parts.FrameQueries, *, is_checked: bool, **values: Any) -> Frame:
    """Return the frame of some trials; `values` are those that the queries of trials name."""
    trials = _trials(db, queries, is_checked=is_checked, **values)
    if is_checked:
        trials["blade_pitch_range_deg"] = np.array(
            [_range_of(each) for each in trials.pop("blade_pitches_deg").tolist()], dtype=np.float64
        )
        measured, nominal = trials["load_measured_ohm"], trials.pop("load_nominal_ohm")
        trials["load_record_ohm"] = np.where(np.isnan(measured), nominal, measured)
    # The printed tolerance counts only for resistors that were not measured.
    trials["load_tolerance_pct"] = np.where(
        np.isnan(trials.pop("load_measured_ohm")), trials["load_tolerance_pct"], np.nan
    )
    names = ["trial_id", *parts.run_names(is_checked=is_checked)]
    runs = read_plain(db, names, queries.runs, **values)
    index_of_trial = {trial_id: at for at, trial_id in enumerate(trials["trial_id"].tolist())}
    of_trial = [index_of_trial[trial_id] for trial_id in runs.pop("trial_id").tolist()]
    runs["trial"] = np.array(of_trial, dtype=np.int64)
    return Frame(trials, runs)


def _range_of(pitches: list[float] | str | None) -> float:
    """Return the range of the blades' pitches; the SQLite driver gives the list as JSON text."""
    listed = json.loads(pitches) if isinstance(pitches, str) else pitches
    return max(listed) - min(listed) if listed else np.nan


def _trials(
    db: Session, queries: parts.FrameQueries, *, is_checked: bool, **values: Any
) -> Columns:
    """Return trials with the columns of their sessions, builds, sweeps and resistors."""
    names = list(parts.trial_columns(is_checked=is_checked))
    trials = read_plain(db, names, queries.trials, **values)
    values = _ids_in(trials) if values else {}
    names = list(parts.session_columns(is_checked=is_checked))
    sessions = read_columns(db, names, queries.sessions, **values)
    _to_seconds(sessions, is_checked=is_checked)
    merge(trials, sessions, "session_id")
    names = list(parts.build_columns(is_checked=is_checked))
    merge(trials, read_columns(db, names, queries.builds, **values), "build_id")
    sweeps = read_plain(db, list(parts.OF_SWEEP), queries.sweeps, **values)
    merge(trials, sweeps, "build_id", "season_id")
    names = list(parts.OF_LOAD)
    has_loads = bool(np.any(trials["load_id"] != ""))
    loads = read_columns(db, names, queries.loads, **values) if has_loads else _columns(names, [])
    merge(trials, loads, "load_id")
    return trials


def _ids_in(trials: Columns) -> dict[str, list[str]]:
    """Return the ids of the sessions, builds and resistors of trials."""
    names = ("session_id", "build_id", "load_id")
    return {f"{name}s": [each for each in set(trials[name].tolist()) if each] for name in names}


def _to_seconds(sessions: Columns, *, is_checked: bool) -> None:
    """Turn moments and days into seconds."""
    sessions["started_at"] = np.array(
        [moment.timestamp() for moment in sessions["started_at"]], dtype=np.float64
    )
    if is_checked:
        sessions["anemometer_checked_at"] = _seconds(sessions.pop("anemometer_checked_on"), 0)
        sessions["season_starts_at"] = _seconds(sessions.pop("season_starts_on"), -1)
        sessions["season_ends_at"] = _seconds(sessions.pop("season_ends_on"), 2)


def _seconds(days: Array, later: int) -> Array:
    """Return the moments `later` days after dates begin (UTC); NaN where there is no date."""
    return np.array(
        [
            np.nan
            if not day
            else datetime.combine(_day(day), time.min, UTC).timestamp() + later * SECONDS_A_DAY
            for day in days
        ],
        dtype=np.float64,
    )


def _day(day: date | str) -> date:
    return date.fromisoformat(day) if isinstance(day, str) else day


def merge(trials: Columns, part: Columns, *keys: str) -> None:
    """Add the columns of a part to the trials, matched by keys; NaN or "" if no row matches."""
    row_of_key = {key: at for at, key in enumerate(_keys(part, keys))}
    wanted = _keys(trials, keys)
    at = np.fromiter(map(row_of_key.get, wanted, repeat(-1)), dtype=np.int64, count=len(wanted))
    for name, column in part.items():
        if name not in keys or len(keys) == 1:
            # Index -1 takes the appended last row, which is for trials without a match.
            trials[name] = np.append(column, _nothing(column))[at]


def _keys(columns: Columns, names: Sequence[str]) -> list[Hashable]:
    if len(names) == 1:
        one: list[Hashable] = columns[names[0]].tolist()
        return one
    return list(zip(*(columns[name].tolist() for name in names), strict=True))


def _nothing(column: Array) -> Any:
    return "" if column.dtype == object else np.nan


def read_columns(db: Session, names: list[str], query: Any, **values: Any) -> Columns:
    """Return the result of a query, a column for each name."""
    if isinstance(query, Prepared):
        return _columns(names, query.tuples(db.connection(), **values))
    return _columns(names, db.connection().execute(query, values).all())


def read_plain(db: Session, names: list[str], query: Any, **values: Any) -> Columns:
    """Return columns with the values of the driver: this halves the time for many rows."""
    return _columns(names, plain_rows(db, query, **values))


def plain_rows(db: Session, query: Any, **values: Any) -> Sequence[Any]:
    """Return rows with the values of the driver; text, numbers and bytes need no conversion."""
    if isinstance(query, Prepared):
        return query.plain(db.connection(), **values)
    result = db.connection().execute(query, values)
    rows = result.cursor.fetchall()  # it returns rows, so it has one
    result.close()
    return rows


def _columns(names: list[str], rows: Any) -> Columns:
    """Return rows as one array per column: numbers with NaN for NULL, text with '' for NULL."""
    # Column by column: an iterator for each row would keep the garbage collector busy.
    return {name: _array(name, list(map(itemgetter(at), rows))) for at, name in enumerate(names)}


def _array(name: str, values: list[Any]) -> Array:
    if name in OBJECTS:
        objects = np.empty(len(values), dtype=object)
        objects[:] = values
        return objects
    if name in IDENTITY or name in TEXT_COLUMNS or name in CHECK_TEXT_COLUMNS:
        # Equal texts share one object to save memory; NULL becomes an empty text.
        shared: dict[str | None, str] = {None: ""}
        return np.array(list(map(shared.setdefault, values, values)), dtype=object)
    return np.array(values, dtype=np.float64)

"""Cache the results of trials when they are checked, and read them in the shape of an answer.

The cache is written in the transaction that changes a fact, by the function that computes results
everywhere. A result that is not cached, such as that of a withdrawn trial, is computed on request.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from datetime import UTC, datetime
from itertools import repeat
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement, delete, update
from sqlmodel import Session, SQLModel, col, select

from analysis.trials.results import FORMULA, PowerResults, TrialResults, trial_results
from api.many_rows import insert_rows, parts
from api.messages.reasons import say_reason
from api.models.measurements.results import CachedResult
from api.models.trials.trials import Trial, TrialResult
from api.services.measurements.frames import Array, Columns, Frame, plain_rows, read_frame

NUMBERS = (
    "power_w",
    "air_density_kg_m3",
    "wind_speed_m_s",
    "wind_power_w",
    "power_coefficient",
    "rotor_speed_rpm",
    "tip_speed_ratio",
    "specific_power_w_m2",
    "normalised_power_w",
    "normalised_power_cubic_w",
    "wind_exponent",
    "density_exponent",
)
UNCERTAINTIES = ("u_own", "u_bench", "u_total")
WORDS = ("air_density_source", "wind_speed_source", "rotor_speed_source", "normalisation", "reason")
POWERS = tuple(each.name for each in fields(PowerResults))
#: The cached numbers of a result, in their stored order.
PACKED = tuple(dict.fromkeys((*NUMBERS, *UNCERTAINTIES, *POWERS, "run_count", "is_own_exponent")))
#: The cached columns of a result, without the trial's id.
CACHED = ("formula", "numbers", *WORDS)
RESULTS = SQLModel.metadata.tables["trial_result"]

#: The condition that the current formula computed a cached result.
by_current_formula = col(CachedResult.formula) == FORMULA

Row = tuple[Any, ...]
CACHED_COLUMNS = [getattr(CachedResult, name) for name in CACHED]
_ALL_CACHED = select(CachedResult.trial_id, *CACHED_COLUMNS)


def store(db: Session, computed_rows: Mapping[str, Row], *conditions: ColumnElement[bool]) -> None:
    """Update the cached results of the trials that meet the conditions, by trial id.

    The cached results of trials that are not in `computed_rows` are deleted.
    """
    stored = _stored(db, col(CachedResult.trial_id).in_(select(Trial.id).where(*conditions)))
    outdated_ids = [each for each in stored if stored[each] != computed_rows.get(each)]
    for part in parts(outdated_ids):
        outdated = col(CachedResult.trial_id).in_(part)
        db.connection().execute(delete(CachedResult).where(outdated))
        # A list of what changed since a moment has the trials whose figures changed, too.
        changed = update(Trial).where(col(Trial.id).in_(part))
        db.connection().execute(changed.values(updated_at=datetime.now(UTC)))
    insert(db, {each: row for each, row in computed_rows.items() if stored.get(each) != row})


def insert(db: Session, computed_rows: Mapping[str, Row]) -> None:
    """Cache the results of trials that have none, by trial id."""
    new = [
        {"trial_id": trial_id, **dict(zip(CACHED, row, strict=True))}
        for trial_id, row in computed_rows.items()
    ]
    insert_rows(db.connection(), RESULTS, new)


def rows_of(frame: Frame, results: TrialResults) -> dict[str, Row]:
    """Return the columns to cache of the trials in a frame, by trial id."""
    return dict(zip(frame.trials["trial_id"].tolist(), _rows(results), strict=True))


def _rows(results: TrialResults) -> Iterator[Row]:
    """Yield the cached columns of each trial."""
    numbers = [np.asarray(getattr(results, name), dtype="<f8") for name in PACKED]
    table = np.column_stack(numbers)
    table[np.isnan(table)] = np.nan  # NaN has many bit patterns; use one
    packed, size = table.tobytes(), 8 * len(PACKED)
    of_each = (packed[start : start + size] for start in range(0, len(packed), size))
    return zip(
        repeat(FORMULA), of_each, *(getattr(results, name).tolist() for name in WORDS), strict=False
    )


def computed(db: Session, trial_ids: Sequence[str]) -> dict[str, Row]:
    """Return the columns to cache for trials, by trial id."""
    by_trial: dict[str, Row] = {}
    for part in parts(trial_ids):
        frame = read_frame(db, col(Trial.id).in_(part))
        by_trial |= rows_of(frame, trial_results(frame.trials, frame.runs))
    return by_trial


def _stored(db: Session, condition: ColumnElement[bool]) -> dict[str, Row]:
    return {row[0]: row[1:] for row in plain_rows(db, _ALL_CACHED.where(condition))}


def unpacked(numbers: Iterable[bytes]) -> Columns:
    """Return the packed numbers of results as columns."""
    table = np.frombuffer(b"".join(numbers), dtype="<f8").reshape(-1, len(PACKED))
    return {name: table[:, at] for at, name in enumerate(PACKED)}


def powers_of(numbers: Iterable[bytes]) -> PowerResults:
    """Return the powers of cached results, for summaries."""
    columns = unpacked(numbers)
    return PowerResults(
        **{name: columns[name] != 0 if name.startswith("is_") else columns[name].copy()
           for name in POWERS}
    )  # fmt: skip


def results_of(db: Session, cached: Mapping[str, Sequence[Any]]) -> dict[str, dict[str, Any]]:
    """Return the fields of `TrialResult` by trial id, from the cached columns of each trial."""
    current = {trial_id: row for trial_id, (formula, *row) in cached.items() if formula == FORMULA}
    columns = unpacked(numbers for numbers, *_ in current.values())
    words = zip(*(row[1:] for row in current.values()), strict=True)
    columns |= {
        name: np.array(each, dtype=object) for name, each in zip(WORDS, words, strict=False)
    }
    answers = dict(zip(current, _result_fields(columns), strict=True)) if current else {}
    missing = [trial_id for trial_id in cached if trial_id not in answers]
    return answers | _computed(db, missing) if missing else answers


def _computed(db: Session, trial_ids: Sequence[str]) -> dict[str, dict[str, Any]]:
    frame = read_frame(db, col(Trial.id).in_(trial_ids))
    computed_results = result_fields(trial_results(frame.trials, frame.runs))
    return dict(zip(frame.trials["trial_id"].tolist(), computed_results, strict=True))


def result_fields(results: TrialResults) -> list[dict[str, Any]]:
    """Return the fields of `TrialResult`, in their order, for each trial.

    A value that cannot be computed is None, and `reason` says why.
    """
    return _result_fields({name: getattr(results, name) for name in (*PACKED, *WORDS)})


def _result_fields(results: Mapping[str, Array]) -> list[dict[str, Any]]:
    is_known = np.isfinite(results["normalised_power_w"])
    columns: dict[str, list[Any]] = {name: _finite_or_none(results[name]) for name in NUMBERS}
    columns |= {name: _finite_or_none(results[name], is_known) for name in UNCERTAINTIES}
    columns |= {name: [str(word) or None for word in results[name].tolist()] for name in WORDS}
    columns["reason"] = [say_reason(each) if each else None for each in columns["reason"]]
    columns["run_count"] = results["run_count"].astype(int).tolist()
    is_own = results["is_own_exponent"] != 0
    columns["wind_exponent_source"] = np.where(is_own, "own", "default").tolist()
    limits = (
        _finite_or_none(results["interval_low_w"], is_known),
        _finite_or_none(results["interval_high_w"], is_known),
    )
    columns["interval_w"] = [None if low is None else (low, high)
                             for low, high in zip(*limits, strict=True)]  # fmt: skip
    in_order = [columns[name] for name in TrialResult.model_fields]
    return [
        dict(zip(TrialResult.model_fields, row, strict=True)) for row in zip(*in_order, strict=True)
    ]


def _finite_or_none(values: Array, where: Array | bool = True) -> list[float | None]:
    """Return numbers; None where one is not finite or must not be shown."""
    values_or_none = values.astype(object)
    values_or_none[~(np.isfinite(values) & where)] = None
    listed: list[float | None] = values_or_none.tolist()
    return listed

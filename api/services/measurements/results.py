"""Results of trials: cached beside them when they are checked, and read in the shape of an answer.

What is kept is a cache: written in the transaction that moves a fact, by the function that computes
results everywhere. Where nothing is kept, as of a withdrawn trial, it is computed when asked for.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from itertools import repeat
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement, delete
from sqlmodel import Session, SQLModel, col, select

from analysis.trials.results import FORMULA, PowerResults, TrialResults, trial_results
from api.bulk import insert_rows, parts
from api.messages.reasons import say_reason
from api.models.measurements.results import KeptResult
from api.models.trials.trials import Trial
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
#: The numbers that are kept of a result, in their order there.
PACKED = tuple(dict.fromkeys((*NUMBERS, *UNCERTAINTIES, *POWERS, "run_count", "is_own_exponent")))
#: What is kept of a result beside its trial's id.
KEPT = ("formula", "numbers", *WORDS)
RESULTS = SQLModel.metadata.tables["trial_result"]

#: The condition on what is kept that today's formula found it.
of_today = col(KeptResult.formula) == FORMULA

Row = tuple[Any, ...]
KEPT_COLUMNS = [getattr(KeptResult, name) for name in KEPT]
_ALL_KEPT = select(KeptResult.trial_id, *KEPT_COLUMNS)


def store(
    db: Session, frame: Frame, results: TrialResults, *conditions: ColumnElement[bool]
) -> None:
    """Bring what is kept of the trials that meet some conditions to what was found now.

    `frame` has those of them whose results are kept; of the others nothing stays.
    """
    found = dict(zip(frame.trials["trial_id"].tolist(), _rows(results), strict=True))
    stored = _stored(db, col(KeptResult.trial_id).in_(select(Trial.id).where(*conditions)))
    gone = [each for each in stored if stored[each] != found.get(each)]
    for part in parts(gone):
        some = col(KeptResult.trial_id).in_(part)
        db.connection().execute(delete(KeptResult).where(some))
    new = [
        {"trial_id": trial_id, **dict(zip(KEPT, row, strict=True))}
        for trial_id, row in found.items()
        if stored.get(trial_id) != row
    ]
    insert_rows(db.connection(), RESULTS, new)


def _rows(results: TrialResults) -> Iterator[Row]:
    """Yield of each trial what is kept beside its id."""
    numbers = [np.asarray(getattr(results, name), dtype="<f8") for name in PACKED]
    table = np.column_stack(numbers)
    table[np.isnan(table)] = np.nan  # of its many forms always the same
    packed, size = table.tobytes(), 8 * len(PACKED)
    of_each = (packed[start : start + size] for start in range(0, len(packed), size))
    return zip(
        repeat(FORMULA), of_each, *(getattr(results, name).tolist() for name in WORDS), strict=False
    )


def computed(db: Session, trial_ids: Sequence[str]) -> dict[str, Row]:
    """Return of some trials what would be kept beside their ids."""
    found: dict[str, Row] = {}
    for part in parts(trial_ids):
        frame = read_frame(db, col(Trial.id).in_(part))
        rows = _rows(trial_results(frame.trials, frame.runs))
        found.update(zip(frame.trials["trial_id"].tolist(), rows, strict=True))
    return found


def _stored(db: Session, condition: ColumnElement[bool]) -> dict[str, Row]:
    return {row[0]: row[1:] for row in plain_rows(db, _ALL_KEPT.where(condition))}


def unpacked(numbers: Iterable[bytes]) -> Columns:
    """Return the numbers that are kept of some results as columns."""
    table = np.frombuffer(b"".join(numbers), dtype="<f8").reshape(-1, len(PACKED))
    return {name: table[:, at] for at, name in enumerate(PACKED)}


def powers_of(numbers: Iterable[bytes]) -> PowerResults:
    """Return what summaries rest on, of results as they are kept."""
    columns = unpacked(numbers)
    return PowerResults(
        **{name: columns[name] != 0 if name.startswith("is_") else columns[name].copy()
           for name in POWERS}
    )  # fmt: skip


def results_of(db: Session, kept: Mapping[str, Sequence[Any]]) -> dict[str, dict[str, Any]]:
    """Return what `TrialResult` holds of trials, by their ids, from what is kept of each."""
    found = {trial_id: row for trial_id, (formula, *row) in kept.items() if formula == FORMULA}
    columns = unpacked(numbers for numbers, *_ in found.values())
    words = zip(*(row[1:] for row in found.values()), strict=True)
    columns |= {
        name: np.array(each, dtype=object) for name, each in zip(WORDS, words, strict=False)
    }
    cached = dict(zip(found, _tell(columns), strict=True)) if found else {}
    missing = [trial_id for trial_id in kept if trial_id not in cached]
    return cached | _computed(db, missing) if missing else cached


def _computed(db: Session, trial_ids: Sequence[str]) -> dict[str, dict[str, Any]]:
    frame = read_frame(db, col(Trial.id).in_(trial_ids))
    computed_results = tell_results(trial_results(frame.trials, frame.runs))
    return dict(zip(frame.trials["trial_id"].tolist(), computed_results, strict=True))


def tell_results(results: TrialResults) -> list[dict[str, Any]]:
    """Return what `TrialResult` holds of each trial.

    What cannot be known is null, and `reason` says why.
    """
    return _tell({name: getattr(results, name) for name in (*PACKED, *WORDS)})


def _tell(results: Mapping[str, Array]) -> list[dict[str, Any]]:
    is_known = np.isfinite(results["normalised_power_w"])
    columns: dict[str, list[Any]] = {name: _known(results[name]) for name in NUMBERS}
    columns |= {name: _known(results[name], is_known) for name in UNCERTAINTIES}
    columns |= {name: [str(word) or None for word in results[name].tolist()] for name in WORDS}
    columns["reason"] = [say_reason(each) if each else None for each in columns["reason"]]
    columns["run_count"] = results["run_count"].astype(int).tolist()
    is_own = results["is_own_exponent"] != 0
    columns["wind_exponent_source"] = np.where(is_own, "own", "default").tolist()
    limits = (
        _known(results["interval_low_w"], is_known),
        _known(results["interval_high_w"], is_known),
    )
    columns["interval_w"] = [None if low is None else (low, high)
                             for low, high in zip(*limits, strict=True)]  # fmt: skip
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _known(values: Array, where: Array | bool = True) -> list[float | None]:
    """Return numbers; None where one is not finite or must not be shown."""
    values_or_none = values.astype(object)
    values_or_none[~(np.isfinite(values) & where)] = None
    listed: list[float | None] = values_or_none.tolist()
    return listed

"""Results of trials in the shape they are answered in."""

from typing import Any

import numpy as np
from sqlalchemy import ColumnElement
from sqlmodel import Session

from analysis.trial_result import TrialResults, trial_results
from api.services.frames import Array, read_frame

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
DOUBTS = ("u_own", "u_bench", "u_total")
WORDS = ("air_density_source", "wind_speed_source", "rotor_speed_source", "normalisation", "reason")


def read_results(db: Session, *conditions: ColumnElement[bool]) -> dict[str, dict[str, Any]]:
    """Return what `TrialResult` holds of the trials that meet some conditions, by trial id."""
    frame = read_frame(db, *conditions)
    told = tell_results(trial_results(frame.trials, frame.runs))
    return dict(zip(frame.trials["trial_id"].tolist(), told, strict=True))


def tell_results(results: TrialResults) -> list[dict[str, Any]]:
    """Return what `TrialResult` holds of each trial.

    What cannot be known is null, and `reason` says why.
    """
    is_known = np.isfinite(results.normalised_power_w)
    columns: dict[str, list[Any]] = {name: _known(getattr(results, name)) for name in NUMBERS}
    columns |= {name: _known(getattr(results, name), is_known) for name in DOUBTS}
    columns |= {name: [str(word) or None for word in getattr(results, name).tolist()]
                for name in WORDS}  # fmt: skip
    columns["run_count"] = results.run_count.astype(int).tolist()
    columns["wind_exponent_source"] = np.where(results.is_own_exponent, "own", "default").tolist()
    limits = _known(results.interval_low_w, is_known), _known(results.interval_high_w, is_known)
    columns["interval_w"] = [None if low is None else (low, high)
                             for low, high in zip(*limits, strict=True)]  # fmt: skip
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _known(values: Array, where: Array | bool = True) -> list[float | None]:
    """Return numbers, and nothing where one is not finite or is not to be told."""
    told = values.astype(object)
    told[~(np.isfinite(values) & where)] = None
    listed: list[float | None] = told.tolist()
    return listed

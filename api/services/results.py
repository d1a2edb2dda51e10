"""Results of trials in the shape they are answered in."""

import math
from typing import Any

from sqlalchemy import ColumnElement
from sqlmodel import Session

from analysis.trial_result import TrialResults, trial_results
from api.models.trials import TrialResult
from api.services.frames import read_frame

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


def read_results(db: Session, *conditions: ColumnElement[bool]) -> dict[str, TrialResult]:
    """Return the results of the trials that meet some conditions, by trial id."""
    frame = read_frame(db, *conditions)
    results = trial_results(frame.trials, frame.runs)
    return {
        str(trial_id): shape_result(results, position)
        for position, trial_id in enumerate(frame.trials["trial_id"])
    }


def shape_result(results: TrialResults, position: int) -> TrialResult:
    """Return one trial's result; what cannot be known is null, and `reason` says why."""
    numbers = {name: known(getattr(results, name)[position]) for name in NUMBERS}
    words = {name: str(getattr(results, name)[position]) or None for name in WORDS}
    is_known = numbers["normalised_power_w"] is not None
    doubts = {
        name: known(getattr(results, name)[position]) if is_known else None for name in DOUBTS
    }
    low, high = results.interval_low_w[position], results.interval_high_w[position]
    return TrialResult.model_validate(
        numbers
        | words
        | doubts
        | {
            "run_count": int(results.run_count[position]),
            "wind_exponent_source": "own" if results.is_own_exponent[position] else "default",
            "interval_w": (float(low), float(high)) if is_known else None,
        }
    )


def known(value: Any) -> float | None:
    """Return a number, or nothing where it is not finite."""
    return float(value) if math.isfinite(value) else None

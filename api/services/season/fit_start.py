"""Begin the fit of a large season at an earlier one, if few of its trials changed."""

from dataclasses import dataclass

import numpy as np

from analysis.comparison.fit import SeasonFit, Start
from api.services.measurements.frames import Columns
from api.services.measurements.season_trials import LARGE_SEASON

#: The spreads are estimated again after so many fits, or when so large a share of trials changed.
MOST_STEPS, MOST_CHANGED = 50, 0.01


@dataclass(frozen=True, slots=True)
class Begun:
    """Where a fit begins, and the number of fits since the spreads were estimated."""

    start: Start
    steps: int


def start_at(fit: SeasonFit, older: Columns, newer: Columns, steps: int) -> Begun | None:
    """Return where the fit of newer trials begins, or None if it has to be made from nothing."""
    count = len(newer["trial_id"])
    if count < LARGE_SEASON or steps >= MOST_STEPS:
        return None
    at, is_known = _places(older["trial_id"], newer["trial_id"])
    changed = (count - is_known.sum()) + (len(older["trial_id"]) - is_known.sum())
    if changed > MOST_CHANGED * count:
        return None
    counts = is_known & ~fit.is_aside[at]
    return Begun(Start(np.where(counts, fit.weights[at], 1.0), fit.spread), steps + 1)


def _places(older: np.ndarray, newer: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the place of each newer id among the older ones, both sorted, and if it is there."""
    if len(older) == len(newer) and np.array_equal(older, newer):
        return np.arange(len(newer)), np.ones(len(newer), dtype=bool)
    place = {trial_id: at for at, trial_id in enumerate(older.tolist())}
    at = np.array([place.get(trial_id, -1) for trial_id in newer.tolist()], dtype=np.int64)
    return at, at >= 0

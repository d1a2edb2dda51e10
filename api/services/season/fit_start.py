"""Begin the fit of a large season at an earlier one, if few of its trials changed."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.comparison.fit import SeasonFit, Start
from analysis.numeric.groups import are_among
from api.services.measurements.frames import Array, Columns
from api.services.measurements.season_trials import LARGE_SEASON

#: The spreads are estimated again after so many fits, or when so large a share of trials changed.
MOST_STEPS, MOST_CHANGED = 50, 0.01


#: Columns in which a trial may differ, and by how much it may before it counts as another one: the
#: drift of a reference rotor moves all of its trials a little with each of them. [-]
NUMBERS, ALIKE = ("log_power", "u_own", "u_wind_exponent", "u_density_exponent"), 0.005
NAMES = ("build_id", "team_id", "bench_id", "session_id", "is_confirmed")


@dataclass(frozen=True, slots=True)
class Begun:
    """Where a fit begins, and the number of fits since the spreads were estimated."""

    start: Start
    steps: int


def start_at(fit: SeasonFit, older: Columns, newer: Columns, steps: int) -> Begun | None:
    """Return where the fit of newer columns begins, or None if it has to be made from nothing.

    A trial with another value counts as changed like a new one: a season that scatters otherwise
    than before needs other spreads.
    """
    count = len(newer["trial_id"])
    if count < LARGE_SEASON or steps >= MOST_STEPS or not older or not fit.is_estimated:
        return None
    at, is_known = _places(older["trial_id"], newer["trial_id"])
    is_same = is_known & np.all([older[name][at] == newer[name] for name in NAMES], axis=0)
    apart = np.max([np.abs(older[name][at] - newer[name]) for name in NUMBERS], axis=0)
    changed = np.count_nonzero(~(is_same & (apart <= ALIKE)))
    if changed + len(older["trial_id"]) - np.count_nonzero(is_known) > MOST_CHANGED * count:
        return None
    return Begun(Start(_weights(fit, older, newer, at, is_same & (apart == 0)), fit), steps + 1)


def _weights(
    fit: SeasonFit, older: Columns, newer: Columns, at: Array, is_same: npt.NDArray[np.bool_]
) -> Array:
    """Return the weight of each newer trial by a fit of the older ones, at these places.

    At the benches of changed trials those that were set aside count again until they are judged:
    which of two that contradict each other is judged last must not matter.
    """
    is_gone = np.ones(len(older["trial_id"]), dtype=bool)
    is_gone[at[is_same]] = False
    benches = {*older["bench_id"][is_gone].tolist(), *newer["bench_id"][~is_same].tolist()}
    is_aside = fit.is_aside[at]
    begins = np.where(is_aside, are_among(newer["bench_id"], benches), fit.weights[at])
    weights: Array = np.where(is_same, begins, 1.0)
    return weights


def _places(older: Array, newer: Array) -> tuple[Array, npt.NDArray[np.bool_]]:
    """Return the place of each newer id among the older ones, and whether it is there.

    Both are sorted and almost the same: only between a common beginning and a common end are they
    looked up.
    """
    head = _alike(older, newer)
    tail = _alike(older[head:][::-1], newer[head:][::-1])
    ends = len(older) - tail, len(newer) - tail
    place = {trial_id: at for at, trial_id in enumerate(older[head : ends[0]].tolist(), head)}
    between = [place.get(trial_id, -1) for trial_id in newer[head : ends[1]].tolist()]
    at = np.concatenate([np.arange(head), np.array(between, dtype=np.int64),
                         np.arange(ends[0], len(older))])  # fmt: skip
    return at, at >= 0


def _alike(one: Array, other: Array) -> int:
    """Return how many ids two lists have in common at their beginning."""
    shorter = min(len(one), len(other))
    differs = np.flatnonzero(one[:shorter] != other[:shorter])
    return int(differs[0]) if differs.size else shorter

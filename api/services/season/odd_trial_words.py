"""Trials that the rest of a season does not expect: left out of its fit until somebody answers."""

import math
from collections.abc import Mapping
from typing import Literal

import numpy as np

from analysis.comparison.odd_trials import LEAST_Z
from api.messages import say
from api.models.season.comparison import OddTrialRead
from api.services.core import wording
from api.services.core.scope import Caller
from api.services.season.fit import Fitted

Cause = Literal["no_load", "fan_setting", "contradiction", "unknown"]
#: How many times the expected power such a reading usually is, both ways for a fan's setting.
NO_LOAD, OTHER_FAN = (2.0, 6.0), (1.25, 2.9)


def odd_trials(caller: Caller, fitted: Fitted, teams: Mapping[str, str]) -> list[OddTrialRead]:
    """Return the odd trials of a caller's schools, the oddest first; `teams` are their names."""
    fit, schools, own = fitted.fit, fitted.trials["organisation_id"], caller.organisation_ids
    shown = [
        at for at in np.flatnonzero(fit.is_aside).tolist() if own is None or schools[at] in own
    ]
    oddest_first = sorted(shown, key=lambda at: -abs(fit.predicted_z[at]))
    return [_read(at, fitted, teams) for at in oddest_first]


def _read(at: int, fitted: Fitted, teams: Mapping[str, str]) -> OddTrialRead:
    trials = fitted.trials
    team = teams.get(str(trials["team_id"][at])) or say("equipment_kind.reference_rotor")
    ratio, cause = _seen(at, fitted)
    digits = float(f"{ratio:.2g}")
    return OddTrialRead(
        trial_id=str(trials["trial_id"][at]),
        build_id=str(trials["build_id"][at]),
        bench_id=str(trials["bench_id"][at]),
        ratio=digits,
        likely_cause=cause,
        **wording.statement(f"odd_trial.{cause}", team=team, ratio=digits),
    )


def _seen(at: int, fitted: Fitted) -> tuple[float, Cause]:
    """Return how many times the expected power a trial gave, and what usually does that.

    One that would be as expected by itself is left out since another trial of its build contradicts
    it: then the ratio is that of both.
    """
    fit, builds = fitted.fit, fitted.trials["build_id"]
    aside = np.flatnonzero(fit.is_aside)
    off = fit.predicted_off[aside[builds[aside] == builds[at]]]
    if abs(fit.predicted_z[at]) <= LEAST_Z and len(off) > 1:
        return float(np.exp(off.max() - off.min())), "contradiction"
    ratio = float(np.exp(fit.predicted_off[at]))
    return ratio, likely_cause(ratio)


def likely_cause(ratio: float) -> Cause:
    """Return what usually makes a trial give so many times the power that was expected.

    >>> [likely_cause(ratio) for ratio in (3.0, 1.5, 0.6, 40.0)]
    ['no_load', 'fan_setting', 'fan_setting', 'unknown']
    """
    if NO_LOAD[0] <= ratio <= NO_LOAD[1]:
        return "no_load"
    size = math.exp(abs(math.log(ratio)))
    return "fan_setting" if OTHER_FAN[0] <= size <= OTHER_FAN[1] else "unknown"

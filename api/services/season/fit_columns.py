"""Select the trials that a season's fit uses, as the columns that it reads."""

from dataclasses import dataclass

import numpy as np
from sqlmodel import Session

from analysis.comparison.columns import compared_columns
from analysis.comparison.control_chart import Drift, freed_of_drift
from analysis.numeric.groups import are_among, group_by
from analysis.season.summary import are_usable
from api.models.registry.seasons import Season
from api.services.core.scope import Caller
from api.services.measurements.frames import Array, Columns
from api.services.measurements.season_trials import SeasonTrials
from api.services.publishing.published import visible_trials

#: Kinds of trial that measure the power of a build: at home, on a visit or as the reference.
COMPARED = ("record", "visit", "reference")
NEEDED = ("trial_id", "organisation_id", "team_id", "build_id", "bench_id", "session_id",
          "started_at", "is_confirmed")  # fmt: skip
SECONDS_A_WEEK = 604_800.0


@dataclass(frozen=True, slots=True)
class FitColumns:
    """The columns of a season's fit, the age of each trial, and the drift of reference rotors.

    `columns` also has `started_at` [s]; a drift that is certain is removed from their `log_power`,
    and not from that in `measured`.
    """

    columns: Columns
    measured: Array
    age_weeks: Array
    drift: Drift | None

    def only(self, which: Array) -> Columns:
        """Return the columns of the selected trials."""
        return {name: column[which] for name, column in self.columns.items()}


def counted_trials(every: SeasonTrials) -> SeasonTrials:
    """Return the trials that a season's fit uses, with the columns that it and its readers need."""
    is_compared = are_among(every.trials["kind"], COMPARED)
    needed = SeasonTrials({name: every.trials[name] for name in NEEDED}, every.results)
    return needed.only(is_compared & are_usable(every.trials, every.results))


def fit_columns(counted: SeasonTrials) -> FitColumns:
    """Return the columns of trials for the fit; a link's age is judged at the newest common moment.

    A reference rotor's drift is removed if it is certain.
    """
    trials = counted.trials
    columns = compared_columns(trials, counted.results)
    columns |= {"is_confirmed": trials["is_confirmed"], "trial_id": trials["trial_id"],
                "started_at": trials["started_at"].astype(float)}  # fmt: skip
    measured = columns["log_power"]
    columns["log_power"], drift = freed_of_drift(columns)
    age = (_reached_by_two(trials) - columns["started_at"]) / SECONDS_A_WEEK
    return FitColumns(columns, measured, age, drift)


def columns_of_season(db: Session, caller: Caller, season: Season) -> FitColumns:
    """Return the columns that the fit of a key's view of the season used."""
    return fit_columns(counted_trials(visible_trials(db, caller, season).trials))


def _reached_by_two(trials: Columns) -> float:
    """Return the latest moment that at least two schools reached.

    A wrong date of one school must not make the links of all others old.
    """
    newest = np.sort(group_by(trials["organisation_id"]).largest(trials["started_at"]))
    return float(newest[-2] if len(newest) > 1 else newest[-1])

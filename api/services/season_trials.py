"""A season's trials with their powers: read once for each revision, and all that reports rest on.

Of each trial only what summaries need is kept, so that a season of any size finds room.
"""

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlmodel import Session, col, select

from analysis.trial_result import PowerResults, power_results
from api.models.seasons import Season
from api.models.sessions import BenchSession
from api.models.trials import Trial
from api.services.cache import cache_of
from api.services.frames import Array, Columns, read_in_parts

KEPT = (
    "trial_id",
    "organisation_id",
    "team_id",
    "turbine_id",
    "build_id",
    "build_number",
    "bench_id",
    "session_id",
    "started_at",
    "state",
    "kind",
)


@dataclass(frozen=True, slots=True)
class SeasonTrials:
    """Trials as columns, in the order of their ids, and their powers."""

    trials: Columns
    results: PowerResults

    def __len__(self) -> int:
        return len(self.trials["trial_id"])

    def only(self, which: Array) -> "SeasonTrials":
        """Return some of the trials."""
        trials = {name: column[which] for name, column in self.trials.items()}
        return SeasonTrials(trials, self.results.only(which))


def season_trials(db: Session, season: Season, until: datetime | None = None) -> SeasonTrials:
    """Return all trials of a season, or those of sessions that began before a moment."""
    subject = ("trials", season.id, until)
    kept: SeasonTrials = cache_of(db).get_or_make(
        subject, season.revision, lambda: _read(db, season, until)
    )
    return kept


def _read(db: Session, season: Season, until: datetime | None) -> SeasonTrials:
    conditions = [col(Trial.season_id) == season.id]
    if until is not None:
        before = select(BenchSession.id).where(
            col(BenchSession.season_id) == season.id, col(BenchSession.started_at) < until
        )
        conditions.append(col(Trial.session_id).in_(before))
    kept: dict[str, list[Array]] = {name: [] for name in KEPT}
    results = []
    for frame in read_in_parts(db, *conditions):
        results.append(power_results(frame.trials, frame.runs))
        for name, columns in kept.items():
            columns.append(frame.trials[name])
    trials = {name: np.concatenate(columns) for name, columns in kept.items()}
    return SeasonTrials(trials, PowerResults.joined(results))

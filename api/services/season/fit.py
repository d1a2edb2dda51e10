"""Fit a season once for each revision; all answers that depend on the fit share it."""

from collections import defaultdict
from collections.abc import Hashable
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np
from sqlmodel import Session, col, select

from analysis.comparison.bench_scores import BenchScore, score_benches
from analysis.comparison.control_chart import Drift
from analysis.comparison.fit import SeasonFit, fit_season
from analysis.comparison.pairs import FairPower, fair_powers
from analysis.numeric.groups import Groups
from analysis.numeric.resolution import at_resolution
from analysis.trials.results import PowerResults
from api.models.registry.builds import Build
from api.models.registry.seasons import Season
from api.services.core.cache import cache_of
from api.services.core.scope import Caller
from api.services.measurements.frames import Array, Columns
from api.services.measurements.season_trials import LARGE_SEASON, SeasonTrials
from api.services.publishing.published import visible_trials
from api.services.season.coarse import coarse_power
from api.services.season.fit_columns import counted_trials, fit_columns
from api.services.season.fit_start import start_at
from api.services.season.season_facts import facts_of, season_facts


@dataclass(frozen=True)
class Fitted:
    """A fit of the season, its trials, and each team's current build."""

    fit: SeasonFit
    trials: Columns
    current: dict[str, str]
    assigned: dict[str, float]
    exponents: dict[str, tuple[float, float]]
    #: The change of the reference rotors over the season, which was removed if it is certain.
    drift: Drift | None
    #: The columns that were fitted, to tell which trials have other values later.
    compared: Columns
    #: How many fits in a row began at the one before, since the spreads were estimated.
    steps: int = 0
    #: Whether figures are rounded to a tenth of their uncertainty: they depend on hidden trials.
    is_coarse: bool = False
    #: Which trials these are, and the revision they are of: keys that see the same share a fit.
    view: Hashable = None
    revision: int = 0
    #: The moment of others' trials, if their current ones are not published yet.
    others_as_of: datetime | None = None

    @cached_property
    def team_of(self) -> dict[str, str]:
        """Return the team of each build; empty for a reference rotor."""
        return _by_label(self.fit.builds, self.trials["team_id"][self.fit.builds.one_of_each()])

    @cached_property
    def trials_of(self) -> dict[str, int]:
        """Return the number of trials of each build."""
        return _by_label(self.fit.builds, self.fit.builds.count().astype(int))

    @cached_property
    def trials_at(self) -> dict[str, int]:
        """Return the number of trials at each bench."""
        return _by_label(self.fit.benches, self.fit.benches.count().astype(int))

    @cached_property
    def last_bench(self) -> dict[str, str]:
        """Return the bench of each build's trial with the last id."""
        last = np.empty(self.fit.builds.size, dtype=np.int64)
        last[self.fit.builds.codes] = np.arange(len(self.fit.builds.codes))
        return _by_label(self.fit.builds, self.trials["bench_id"][last])

    @cached_property
    def references(self) -> list[str]:
        """Return the builds of reference rotors."""
        return [build_id for build_id, team in self.team_of.items() if not team]

    @cached_property
    def to_average(self) -> dict[str, float]:
        """Return the bench and session effect on ln power, to subtract in each session.

        The session effect is removed only where the reference rotor ran: without it, a team's own
        gain would look like an effect of the session.
        """
        fit = self.fit
        uncertainty = dict(zip(fit.bench_ids, fit.bench_u.tolist(), strict=True))
        bench = dict(zip(fit.bench_ids, fit.bench_effect.tolist(), strict=True))
        session = dict(zip(fit.session_ids, fit.session_effect.tolist(), strict=True))
        session_effects = {session_id: session[session_id] for session_id in self.referred}
        return {
            session_id: self.rounded(
                bench[bench_id] + session_effects.get(session_id, 0.0), uncertainty[bench_id]
            )
            for session_id, bench_id in fit.bench_of_session.items()
        }

    def rounded(self, value: float, u: float) -> float:
        """Return a figure rounded by its standard uncertainty, if figures are coarse."""
        return at_resolution(value, u) if self.is_coarse else value

    @cached_property
    def builds_of(self) -> dict[str, list[str]]:
        """Return the builds of each team."""
        builds: dict[str, list[str]] = defaultdict(list)
        for build_id, team_id in self.team_of.items():
            builds[team_id].append(build_id)
        return builds

    def session_groups(self, team_id: str) -> dict[str, int]:
        """Return the comparable group of a team's builds in each of its sessions."""
        tested = self.fit.sessions_of(self.builds_of.get(team_id, ()))
        return {session_id: self.fit.group_of[build_id] for build_id, session_id in tested}

    @cached_property
    def odd_trials(self) -> frozenset[str]:
        """Return the trials that the rest of the season does not expect."""
        return frozenset(self.trials["trial_id"][self.fit.is_aside].tolist())

    @cached_property
    def referred(self) -> frozenset[str]:
        """Return the sessions in which a reference rotor ran."""
        return frozenset(session_id for _, session_id in self.fit.sessions_of(self.references))

    @cached_property
    def last_trial(self) -> dict[str, float]:
        """Return when each build was last tested [s]."""
        return _by_label(self.fit.builds, self.fit.builds.largest(self.trials["started_at"]))

    @cached_property
    def bench_scores(self) -> list[BenchScore]:
        """Return how each bench compares with the others, exactly."""
        return score_benches(self.fit, self.assigned)

    @cached_property
    def fair(self) -> dict[str, FairPower]:
        """Return the comparable power of each build that a reference rotor anchors."""
        exact = fair_powers(self.fit, self.assigned)
        if not self.is_coarse:
            return exact
        return {build: coarse_power(power) for build, power in exact.items()}


def _by_label(groups: Groups, values: Array) -> dict[str, Any]:
    return dict(zip(groups.labels.tolist(), values.tolist(), strict=True))


def fitted_season(
    db: Session, caller: Caller, season: Season, until: datetime | None = None
) -> Fitted | None:
    """Return the season's fit of the trials that a key sees, up to a moment if given.

    Return None if no trial counts. Keys that see the same trials share one fit.
    """
    seen = visible_trials(db, caller, season, until)
    cache, subject = cache_of(db), ("fit", season.id, until, seen.view)
    revision = season.revision if seen.revision is None else seen.revision

    def fit() -> _Fits | None:
        nearest = ("fit", season.id, until, seen.nearest_view or seen.view)
        before = None if until else cache.newest(subject, 0) or cache.newest(nearest, 0)
        sees_all = seen.view is None and until is None
        current = season_facts(db, season).current_builds if sees_all else None
        fitted = _fit(db, seen.trials, before[1].exact if before and before[1] else None, current)
        if fitted is None:
            return None
        exact = replace(fitted, view=seen.view, revision=revision)
        return _Fits(exact, replace(exact, is_coarse=True, others_as_of=seen.as_of))

    fits: _Fits | None = cache.get_or_make(subject, revision, fit)
    if fits is None:
        return None
    return fits.exact if caller.reaches_all else fits.coarse


@dataclass(frozen=True, slots=True)
class _Fits:
    """One fit, with exact figures and with coarse ones."""

    exact: Fitted
    coarse: Fitted


def _fit(
    db: Session,
    every: SeasonTrials,
    before: Fitted | None = None,
    current: dict[str, str] | None = None,
) -> Fitted | None:
    """Fit trials; begin at an earlier fit if few changed since the spreads were estimated.

    `current` are the newest builds of teams, if they are known.
    """
    counted = counted_trials(every)
    if not len(counted):
        return None
    read = fit_columns(counted)
    begun = before and start_at(before.fit, before.compared, read.columns, before.steps)
    start = begun.start if begun else None
    fit = fit_season(read.columns, age_weeks=read.age_weeks, start=start)
    assigned = _assigned(db)
    return Fitted(
        fit=fit,
        steps=begun.steps if begun else 0,
        trials=counted.trials,
        current=facts_of(every).current_builds if current is None else current,
        assigned={each: assigned[each] for each in fit.build_ids if each in assigned},
        exponents=_exponents(fit.builds, counted.results),
        drift=read.drift,
        compared=read.columns if len(counted) >= LARGE_SEASON else {},
    )


def _exponents(builds: Groups, results: PowerResults) -> dict[str, tuple[float, float]]:
    """Return each build's wind exponent with its uncertainty; its own one if it has one."""
    surest = builds.first_largest(-results.u_wind_exponent)
    pairs = zip(results.wind_exponent[surest].tolist(), results.u_wind_exponent[surest].tolist(),
                strict=True)  # fmt: skip
    return dict(zip(builds.labels.tolist(), pairs, strict=True))


def _assigned(db: Session) -> dict[str, float]:
    """Return the assigned powers of reference rotors."""
    query = select(Build.id, Build.assigned_power_w).where(
        col(Build.assigned_power_w).is_not(None), col(Build.organisation_id).is_(None)
    )
    return {row.id: row.assigned_power_w for row in db.execute(query)}

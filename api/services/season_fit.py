"""The season's fit, shared by all answers that rest on it; made once for each revision."""

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property

import numpy as np
from sqlmodel import Session, col, select

from analysis.comparison import SeasonFit, fit_season
from analysis.season import TeamSeasons, are_usable, summarise_teams
from analysis.standing import FairPower, fair_powers
from analysis.trial_result import TrialResults, trial_results
from analysis.uncertainty import combine
from api.models.builds import Build
from api.models.seasons import Season
from api.models.sessions import BenchSession
from api.models.trials import Trial
from api.services.cache import cache_of
from api.services.frames import Array, read_frame

#: Kinds of trial that say how strong a build is, at home, away or as the reference.
COMPARED = ("record", "visit", "reference")
U_PLACEMENT = 0.02  # [-], the tower put back in its place; common practice, no source
SECONDS_A_WEEK = 604_800.0


@dataclass(frozen=True)
class Fitted:
    """A fit of the season, the trials behind it, and each team's current build."""

    fit: SeasonFit
    trials: dict[str, Array]
    current: dict[str, str]
    assigned: dict[str, float]
    exponents: dict[str, tuple[float, float]]

    @cached_property
    def team_of(self) -> dict[str, str]:
        """Return the team of each build; empty for a reference rotor."""
        return dict(zip(self.trials["build_id"], self.trials["team_id"], strict=True))

    @cached_property
    def trials_of(self) -> dict[str, int]:
        """Return how many trials each build has."""
        builds, counts = np.unique(self.trials["build_id"].astype(str), return_counts=True)
        return dict(zip(builds.tolist(), counts.tolist(), strict=True))

    @cached_property
    def references(self) -> list[str]:
        """Return the builds of reference rotors."""
        return [build_id for build_id, team in self.team_of.items() if not team]

    @cached_property
    def to_average(self) -> dict[str, float]:
        """Return what to take off ln power in each session, so that benches and sittings agree.

        What a sitting adds is told by the reference rotor alone: where it did not run, a team's own
        gain would pass for it.
        """
        trials, fit = self.trials, self.fit
        bench = dict(zip(fit.bench_ids, fit.bench_effect.tolist(), strict=True))
        sitting = dict(zip(fit.session_ids, fit.session_effect.tolist(), strict=True))
        bench_of = dict(zip(trials["session_id"], trials["bench_id"], strict=True))
        told = {session_id: sitting[session_id] for session_id in self.referred}
        return {
            session_id: bench[bench_id] + told.get(session_id, 0.0)
            for session_id, bench_id in bench_of.items()
        }

    @cached_property
    def session_group(self) -> dict[tuple[str, str], int]:
        """Return, for each team and session, the group of builds that it was about."""
        trials, group_of = self.trials, self.fit.group_of
        return {
            (team_id, session_id): group_of[build_id]
            for team_id, session_id, build_id in zip(
                trials["team_id"], trials["session_id"], trials["build_id"], strict=True
            )
        }

    @cached_property
    def referred(self) -> frozenset[str]:
        """Return the sessions in which a reference rotor ran."""
        return frozenset(self.trials["session_id"][self.trials["team_id"] == ""])

    @cached_property
    def last_trial(self) -> dict[str, float]:
        """Return when each build was last tested, in seconds."""
        last: dict[str, float] = {}
        for build_id, moment in zip(
            self.trials["build_id"], self.trials["started_at"], strict=True
        ):
            last[build_id] = max(moment, last.get(build_id, moment))
        return last

    @cached_property
    def fair(self) -> dict[str, FairPower]:
        """Return builds' powers freed of their benches; without those that nothing anchors."""
        return fair_powers(self.fit, self.assigned)


def fitted_season(db: Session, season: Season, until: datetime | None = None) -> Fitted | None:
    """Return the season's fit by what was measured until a moment; nothing where nothing counts."""
    key = ("fit", season.id, season.revision, until)
    kept: Fitted | None = cache_of(db).get_or_make(key, lambda: _fit(db, season, until))
    return kept


def _fit(db: Session, season: Season, until: datetime | None) -> Fitted | None:
    conditions = [col(Trial.season_id) == season.id]
    if until is not None:
        before = select(BenchSession.id).where(
            col(BenchSession.season_id) == season.id, col(BenchSession.started_at) < until
        )
        conditions.append(col(Trial.session_id).in_(before))
    frame = read_frame(db, *conditions)
    results = trial_results(frame.trials, frame.runs)
    is_compared = np.isin(frame.trials["kind"].astype(str), COMPARED)
    counted = is_compared & are_usable(frame.trials, results)
    if not counted.any():
        return None
    trials = {name: column[counted] for name, column in frame.trials.items()}
    teams = summarise_teams(frame.trials, results)
    return Fitted(
        fit=_fit_trials(trials, results, counted),
        trials=trials,
        current=_current(teams),
        assigned=_assigned(db, {str(build) for build in trials["build_id"]}),
        exponents=_exponents(trials["build_id"], results, counted),
    )


def _current(teams: TeamSeasons) -> dict[str, str]:
    """Return the newest build of each team; a reference rotor is no team's."""
    pairs = zip(teams.team_ids.tolist(), teams.current_build_ids.tolist(), strict=True)
    return {str(team_id): str(build_id) for team_id, build_id in pairs if team_id}


def _fit_trials(trials: dict[str, Array], results: TrialResults, counted: Array) -> SeasonFit:
    """Fit trials; a link's age is judged at the newest moment that two schools reached."""
    age = (_reached_by_two(trials) - trials["started_at"]) / SECONDS_A_WEEK
    names = ("build_id", "team_id", "bench_id", "session_id")
    return fit_season(
        {name: trials[name].astype(str) for name in names}
        | {
            "log_power": np.log(results.normalised_power_w[counted]),
            "u_own": _scatter(results)[counted],
        },
        age_weeks=age,
    )


def _reached_by_two(trials: dict[str, Array]) -> float:
    """Return the newest trial's moment, but for one school that is alone so late.

    A date that one school mistook, or chose, must not make the links of all others old.
    """
    owners, started = trials["organisation_id"].astype(str), trials["started_at"]
    newest = sorted(float(started[owners == owner].max()) for owner in np.unique(owners))
    return newest[-2] if len(newest) > 1 else newest[-1]


def _scatter(results: TrialResults) -> Array:
    """Return what is uncertain of a trial beside its session and bench, which have terms."""
    return combine(
        results.u_repeat,
        np.full_like(results.u_repeat, U_PLACEMENT),
        results.exponent_lever * results.u_wind_exponent,
        results.ln_density_ratio * results.u_density_exponent,
    )


def _exponents(
    build_ids: Array, results: TrialResults, counted: Array
) -> dict[str, tuple[float, float]]:
    """Return each build's wind exponent with its uncertainty; its own, if any trial has it."""
    found: dict[str, tuple[float, float]] = {}
    rows = zip(
        build_ids, results.wind_exponent[counted], results.u_wind_exponent[counted], strict=True
    )
    for build_id, exponent, u in rows:
        if build_id not in found or u < found[build_id][1]:
            found[build_id] = float(exponent), float(u)
    return found


def _assigned(db: Session, build_ids: set[str]) -> dict[str, float]:
    """Return the assigned power of the reference rotors among some builds."""
    known = select(Build.id, Build.assigned_power_w).where(
        col(Build.assigned_power_w).is_not(None), col(Build.organisation_id).is_(None)
    )
    return {row.id: row.assigned_power_w for row in db.execute(known) if row.id in build_ids}

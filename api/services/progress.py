"""A team's progress: read once, calculated by `analysis`, put into words."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from typing import Any

import numpy as np
from sqlmodel import Session, col, select

from analysis.errors import AnalysisError
from analysis.generator import LoadSweep, fit_load_sweep
from analysis.groups import group_by
from analysis.pitch import PitchOptimum, find_optimum, next_pitch
from analysis.progress import Trend, effect_of_change, trend_of, weeks_between
from analysis.season import ACCEPTED, Figure, counts_for_season, typical_figures
from analysis.standing import percent
from analysis.trend import debias_best
from analysis.trial_inputs import run_power
from analysis.trial_result import TrialResults, trial_results
from api.models.builds import Build
from api.models.progress import (
    BuildProgress,
    ChangeRead,
    LoadRead,
    PitchRead,
    SessionProgress,
    TeamProgress,
    TrendRead,
)
from api.models.reports import FigureRead
from api.models.seasons import Season
from api.models.teams import Team
from api.models.trials import Trial
from api.models.turbines import Turbine
from api.services import resources, wording
from api.services.cache import cache_of
from api.services.frames import Array, Frame, read_frame
from api.services.next_test import next_test
from api.services.scope import Caller


@dataclass(frozen=True, slots=True)
class _Facts:
    """A team's trials with their results, and which of them count."""

    frame: Frame
    results: TrialResults
    counted: Array


def team_progress(db: Session, caller: Caller, team_id: str) -> TeamProgress:
    """Return a team's progress; calculated once for each revision of the season's facts."""
    team = resources.get_row(db, caller, Team, team_id)
    season = resources.get_row(db, caller, Season, team.season_id)
    key = ("progress", team.id, season.revision)
    kept: TeamProgress = cache_of(db).get_or_make(key, lambda: _calculate(db, team, season))
    return kept


def _calculate(db: Session, team: Team, season: Season) -> TeamProgress:
    builds = list(
        db.scalars(
            select(Build)
            .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
            .where(col(Turbine.team_id) == team.id)
            .order_by(col(Turbine.id), col(Build.number))
        )
    )
    frame = read_frame(db, col(Trial.build_id).in_([build.id for build in builds]))
    results = trial_results(frame.trials, frame.runs)
    facts = _Facts(frame, results, counts_for_season(frame.trials, results))
    by_build = _figures(facts, "build_id")
    sessions = _sessions(facts)
    pitch = [found for build in builds if (found := _pitch(facts, build))]
    load = [swept for build in builds if (swept := _load(facts, build))]
    return TeamProgress(
        team_id=team.id,
        name=team.name,
        as_of=datetime.now(UTC),
        revision=season.revision,
        builds=[
            _build(facts, build, by_build[build.id]) for build in builds if build.id in by_build
        ],
        sessions=sessions,
        trend=_trend(sessions),
        pitch=pitch,
        load=load,
        changes=_changes(builds, by_build),
        next_test=next_test(builds, set(by_build), pitch, load),
        reason=None if by_build else wording.NO_RECORD,
    )


def _figures(facts: _Facts, column: str) -> dict[str, Figure]:
    """Return the typical power of each build, or session, that has a trial that counts."""
    if not facts.counted.any():
        return {}
    groups = group_by(facts.frame.trials[column][facts.counted])
    figures = typical_figures(groups, facts.counted, facts.frame.trials, facts.results)
    return {figure.label: figure for figure in figures}


def _figure(figure: Figure) -> dict[str, Any]:
    return {name: getattr(figure, name) for name in FigureRead.model_fields}


def _build(facts: _Facts, build: Build, figure: Figure) -> BuildProgress:
    mine = facts.counted & (facts.frame.trials["build_id"] == build.id)
    best = float(np.max(facts.results.normalised_power_w[mine]))
    scatter = float(np.mean(facts.results.u_own[mine]))
    at = int(np.flatnonzero(mine)[0])
    return BuildProgress.model_validate(
        _figure(figure)
        | {
            "build_id": build.id,
            "number": build.number,
            "best_seen_w": best,
            "best_seen_debiased_w": debias_best(best, figure.trials, scatter),
            "wind_exponent": float(facts.results.wind_exponent[at]),
            "wind_exponent_u": float(facts.results.u_wind_exponent[at]),
            "wind_exponent_source": "default",
        }
    )


def _sessions(facts: _Facts) -> list[SessionProgress]:
    started = dict(
        zip(facts.frame.trials["session_id"], facts.frame.trials["started_at"], strict=True)
    )
    figures = _figures(facts, "session_id")
    return [
        SessionProgress.model_validate(
            _figure(figures[session_id])
            | {
                "session_id": session_id,
                "started_at": datetime.fromtimestamp(started[session_id], UTC),
            }
        )
        for session_id in sorted(figures, key=lambda each: started[each])
    ]


def _trend(sessions: list[SessionProgress]) -> TrendRead:
    weeks = weeks_between([session.started_at.timestamp() for session in sessions])
    trend = trend_of(weeks, [math.log(session.normalised_power_w) for session in sessions])
    slope, interval = _per_week(trend)
    return TrendRead(
        sessions=trend.sessions,
        slope_pct_per_week=slope,
        interval_pct_per_week=interval,
        kendall_s=trend.test.s if trend.test else None,
        p_one_sided=trend.test.p_one_sided if trend.test else None,
        verdict=trend.verdict,
        reason=trend.reason or None,
        sentence=wording.trend(trend.verdict, slope),
    )


def _per_week(trend: Trend) -> tuple[float | None, tuple[float, float] | None]:
    """Return a slope of ln power and its interval in per cent a week."""
    if trend.slope is None:
        return None, None
    low, high = trend.slope.interval
    return percent(trend.slope.slope), (percent(low), percent(high))


def _swept(facts: _Facts, build: Build, kind: str) -> Array:
    """Return which trials are a build's sweep that counts."""
    trials = facts.frame.trials
    swept: Array = (
        (trials["build_id"] == build.id)
        & (trials["kind"] == kind)
        & (trials["state"] == ACCEPTED)
        & np.isfinite(facts.results.normalised_power_w)
    )
    return swept


def _pitch(facts: _Facts, build: Build) -> PitchRead | None:
    """Return what a build's pitch sweep found; nothing where there was none."""
    pitch, power = _pitch_readings(facts, _swept(facts, build, "pitch"))
    if not pitch.size:
        return None
    further = next_pitch(pitch, power)
    try:
        return _pitch_found(build, find_optimum(pitch, power), further)
    except AnalysisError as unknown:
        return PitchRead(
            build_id=build.id,
            number=build.number,
            readings=pitch.size,
            bracketed=False,
            best_pitch_deg=None,
            u_deg=None,
            fieller_deg=None,
            plateau_deg=None,
            next_pitch_deg=further,
            reason=str(unknown),
            sentence=wording.PITCH_OPEN.format(number=build.number, reason=unknown, next=further),
        )


def _pitch_readings(facts: _Facts, swept: Array) -> tuple[Array, Array]:
    """Return pitch and normalised power of every run of a sweep whose pitch was noted."""
    trial = facts.frame.runs["trial"]
    load = facts.frame.trials["load_ohm"].astype(float)[trial]
    to_reference = facts.results.normalised_power_w / facts.results.power_w
    power = run_power(facts.frame.runs, load) * to_reference[trial]
    pitch = facts.frame.trials["pitch_deg"].astype(float)[trial]
    kept = swept[trial] & np.isfinite(pitch) & (power > 0)
    return pitch[kept], power[kept]


def _pitch_found(build: Build, found: PitchOptimum, further: float) -> PitchRead:
    low, high = found.plateau_deg
    return PitchRead(
        build_id=build.id,
        number=build.number,
        readings=found.readings,
        bracketed=found.bracketed,
        best_pitch_deg=found.best_pitch_deg,
        u_deg=found.u_deg,
        fieller_deg=found.fieller_deg,
        plateau_deg=found.plateau_deg,
        next_pitch_deg=further,
        reason=None,
        sentence=wording.PITCH_FOUND.format(
            number=build.number, best=found.best_pitch_deg, low=low, high=high
        ),
    )


def _load(facts: _Facts, build: Build) -> LoadRead | None:
    """Return what a build's load sweep found; nothing where there was none."""
    swept = _swept(facts, build, "load")
    if not swept.any():
        return None
    load = facts.frame.trials["load_ohm"][swept].astype(float)
    # Volts as they would be at the reference, so that one wind holds for the whole sweep.
    volts = np.sqrt(facts.results.normalised_power_w[swept] * load)
    try:
        return _load_found(build, fit_load_sweep(load, volts))
    except AnalysisError as unknown:
        return LoadRead(
            build_id=build.id,
            number=build.number,
            loads=len(np.unique(load)),
            valid=False,
            source_voltage_v=None,
            source_resistance_ohm=None,
            matched_load_ohm=None,
            max_power_w=None,
            reason=str(unknown),
            sentence=wording.LOAD_OPEN.format(number=build.number, reason=unknown),
        )


def _load_found(build: Build, sweep: LoadSweep) -> LoadRead:
    words = wording.LOAD_FOUND if sweep.valid else wording.LOAD_TESTED
    return LoadRead(
        build_id=build.id,
        number=build.number,
        loads=sweep.loads,
        valid=sweep.valid,
        source_voltage_v=sweep.source_voltage_v if sweep.valid else None,
        source_resistance_ohm=sweep.source_resistance_ohm if sweep.valid else None,
        matched_load_ohm=sweep.matched_load_ohm,
        max_power_w=sweep.max_power_w,
        reason=sweep.reason or None,
        sentence=words.format(number=build.number, best=sweep.matched_load_ohm),
    )


def _changes(builds: list[Build], figures: dict[str, Figure]) -> list[ChangeRead]:
    """Return what came with each change between consecutive measured builds of a turbine."""
    measured = [build for build in builds if build.id in figures]
    return [
        _change(older, newer, figures)
        for older, newer in pairwise(measured)
        if older.turbine_id == newer.turbine_id
    ]


def _change(older: Build, newer: Build, figures: dict[str, Figure]) -> ChangeRead:
    effect = effect_of_change(figures[newer.id], figures[older.id])
    # Where builds in between were not measured, more than the noted change lies between.
    factor = newer.changed_factor if newer.number == older.number + 1 else None
    return ChangeRead(
        from_build_id=older.id,
        to_build_id=newer.id,
        factor=factor,
        effect_pct=effect.effect_pct,
        interval_pct=effect.interval_pct,
        detectable_pct=effect.detectable_pct,
        sentence=wording.change(
            factor, effect.effect_pct, effect.interval_pct, effect.detectable_pct
        ),
    )

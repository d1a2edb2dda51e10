"""Calculate a team's progress by `analysis`, and describe it in words."""

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
from sqlmodel import Session, col, select

from analysis.numeric.groups import are_among, group_by
from analysis.season.changes import Effect, Pairing, effect_of_change, trial_uncertainty
from analysis.season.estimates import Figure, places, typical_figures
from analysis.season.progress import PLATEAU_BUILDS, has_plateaued
from analysis.season.summary import counts_for_season
from analysis.trend import debias_best
from analysis.trials.results import U_SESSION, trial_results
from api.messages import say
from api.models.registry.builds import Build
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.season.progress import (
    BuildProgress,
    ChangeRead,
    PlateauRead,
    SessionProgress,
    TeamProgress,
)
from api.models.season.reports import FigureRead
from api.models.trials.trials import Trial
from api.services.core import resources, wording
from api.services.core.scope import Caller
from api.services.measurements.frames import Array, read_frame
from api.services.registry.current_builds import current_builds
from api.services.season.cached_answers import season_answer
from api.services.season.findings import Facts, find_load, find_pitch, find_wind
from api.services.season.fit import Fitted, fitted_season
from api.services.season.next_tests import next_test
from api.services.season.trends import adjusted_powers, read_trend


def team_progress(db: Session, caller: Caller, team_id: str) -> TeamProgress:
    """Return a team's progress, cached for each revision of the season."""
    team = resources.get_row(db, caller, Team, team_id)
    season = resources.get_row(db, caller, Season, team.season_id)

    def make(db: Session, season: Season) -> TeamProgress:
        return _calculate(db, caller, resources.get_row(db, caller, Team, team_id), season)

    return season_answer(db, caller, season, ("progress", team.id), make)


def _calculate(db: Session, caller: Caller, team: Team, season: Season) -> TeamProgress:
    builds = _builds(db, team)
    frame = read_frame(db, col(Trial.build_id).in_([build.id for build in builds]))
    results = trial_results(frame.trials, frame.runs)
    facts = Facts(frame, results, counts_for_season(frame.trials, results))
    fitted = fitted_season(db, caller, season)
    by_build = _figures(facts, "build_id")
    sessions = _sessions(facts, team.id, _figures(facts, "session_id"), fitted)
    pitch = [found for build in builds if (found := find_pitch(facts, build, builds))]
    load = [swept for build in builds if (swept := find_load(facts, build, builds))]
    changes = _changes(facts, builds, by_build, fitted)
    figures = [by_build[build.id] for build in builds if build.id in by_build]
    plateau = _plateau(figures, changes)
    newest = current_builds(db, season.id, col(Team.id) == team.id).get(team.id)
    return TeamProgress(
        team_id=team.id,
        name=team.name,
        as_of=datetime.now(UTC),
        revision=season.revision,
        builds=[
            _build(facts, build, by_build[build.id], fitted)
            for build in builds
            if build.id in by_build
        ],
        sessions=sessions,
        trend=read_trend(
            [session.started_at for session in sessions],
            [session.adjusted_power_w for session in sessions],
        ),
        current_build_number=newest.number if newest else None,
        plateau=plateau,
        pitch=pitch,
        load=load,
        wind=find_wind(facts, builds),
        changes=changes,
        next_test=next_test(builds, set(by_build), pitch, load, plateau),
        reason=None if by_build else say("reason.no_record"),
    )


def _builds(db: Session, team: Team) -> list[Build]:
    """Return a team's builds by turbine, oldest first."""
    statement = (
        select(Build)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .where(col(Turbine.team_id) == team.id)
        .order_by(col(Turbine.id), col(Build.number))
    )
    return list(db.scalars(statement))


def _figures(facts: Facts, column: str) -> dict[str, Figure]:
    """Return the typical power of each build, or session, with a counted trial."""
    if not facts.counted.any():
        return {}
    groups = group_by(facts.frame.trials[column][facts.counted])
    where = places(facts.counted, facts.frame.trials)
    figures = typical_figures(groups, where, facts.results)
    return {figure.label: figure for figure in figures}


def _figure(figure: Figure) -> dict[str, object]:
    return {name: getattr(figure, name) for name in FigureRead.model_fields}


def _build(facts: Facts, build: Build, figure: Figure, fitted: Fitted | None) -> BuildProgress:
    results = facts.results
    is_of_build = facts.counted & (facts.frame.trials["build_id"] == build.id)
    best = float(np.max(results.normalised_power_w[is_of_build]))
    scatter = float(np.mean(np.hypot(results.u_repeat[is_of_build], U_SESSION)))
    # Prefer a trial with the build's own exponent, if its sweep covers any.
    at = int(np.flatnonzero(is_of_build)[np.argmax(results.is_own_exponent[is_of_build])])
    fair = fitted.fair.get(build.id) if fitted else None
    return BuildProgress.model_validate(
        _figure(figure)
        | {
            "build_id": build.id,
            "number": build.number,
            "best_seen_w": best,
            "best_seen_debiased_w": debias_best(best, figure.trials, scatter),
            "fair_power_w": fair and fair.power_w,
            "fair_u_total": fair and fair.u_total,
            "fair_interval_w": fair and fair.interval_w,
            "wind_exponent": float(results.wind_exponent[at]),
            "wind_exponent_u": float(results.u_wind_exponent[at]),
            "wind_exponent_source": "own" if results.is_own_exponent[at] else "default",
        }
    )


def _sessions(
    facts: Facts, team_id: str, figures: dict[str, Figure], fitted: Fitted | None
) -> list[SessionProgress]:
    trials = facts.frame.trials
    started = dict(zip(trials["session_id"], trials["started_at"], strict=True))
    in_order = sorted(figures.values(), key=lambda figure: started[figure.label])
    powers = adjusted_powers(team_id, in_order, fitted)
    newest: dict[str, int] = {}
    for at in np.flatnonzero(facts.counted):
        session, number = str(trials["session_id"][at]), int(trials["build_number"][at])
        newest[session] = max(number, newest.get(session, 0))
    return [
        SessionProgress.model_validate(
            _figure(figure)
            | {
                "session_id": figure.label,
                "started_at": datetime.fromtimestamp(started[figure.label], UTC),
                "build_number": newest[figure.label],
                "adjusted_power_w": power,
                "reference_ran": fitted is not None and figure.label in fitted.referred,
            }
        )
        for figure, power in zip(in_order, powers, strict=True)
    ]


def _plateau(figures: Sequence[Figure], changes: Sequence[ChangeRead]) -> PlateauRead:
    """Return whether the gains have levelled off.

    The status is `gaining` only if a recent change shows a gain and the newest one shows no loss.
    """
    status, newest = "unclear", [change.status for change in changes[-PLATEAU_BUILDS:]]
    if len(figures) <= PLATEAU_BUILDS:
        status = "not_yet"
    elif has_plateaued(figures):
        status = "reached"
    elif "more" in newest and newest[-1] != "less":
        status = "gaining"
    sentence = wording.statement(f"plateau.{status}", builds=PLATEAU_BUILDS)
    return PlateauRead.model_validate(sentence | {"status": status, "builds": len(figures)})


def _changes(
    facts: Facts, builds: Sequence[Build], figures: dict[str, Figure], fitted: Fitted | None
) -> list[ChangeRead]:
    """Return what came with each change between consecutive measured builds of a turbine."""
    measured = [build for build in builds if build.id in figures]
    session_sd, residual = U_SESSION, 1.0
    counted = facts.counted
    if fitted:
        session_sd, residual = fitted.fit.spread.session, fitted.fit.spread.residual
        # One trial with a mistake would show a change, or hide one, until somebody answers.
        counted = counted & ~are_among(facts.frame.trials["trial_id"], fitted.odd_trials)
    return [
        _change(older, newer, effect_of_change(
            figures[newer.id], figures[older.id],
            _pairing(facts, counted, older, newer, residual),
            session_sd,
        ))
        for older, newer in pairwise(measured)
        if older.turbine_id == newer.turbine_id
    ]  # fmt: skip


def _pairing(facts: Facts, counted: Array, older: Build, newer: Build, residual: float) -> Pairing:
    """Return the counted trials of two builds, in the order of their ids: as submitted."""
    build = facts.frame.trials["build_id"]
    rows = np.flatnonzero(counted & ((build == older.id) | (build == newer.id)))
    sessions = facts.frame.trials["session_id"][rows].astype(str)
    return Pairing(
        ln_power=np.log(facts.results.normalised_power_w[rows]),
        u_trial=trial_uncertainty(facts.results.only(rows), sessions, residual),
        session_id=sessions,
        is_new=build[rows] == newer.id,
    )


def _change(older: Build, newer: Build, effect: Effect) -> ChangeRead:
    # With unmeasured builds in between, the noted factor is not the only change.
    factor = newer.changed_factor if newer.number == older.number + 1 else None
    low, high = effect.interval_pct
    return ChangeRead(
        from_build_id=older.id,
        to_build_id=newer.id,
        factor=factor,
        status="more" if low > 0 else "less" if high < 0 else "unclear",
        effect_pct=effect.effect_pct,
        interval_pct=effect.interval_pct,
        detectable_pct=effect.detectable_pct,
        design=effect.design,
        trials=effect.trials,
        sessions=effect.sessions,
        **wording.change(
            (older.number, newer.number),
            factor,
            effect.effect_pct,
            effect.interval_pct,
            effect.detectable_pct,
            back_to_back=effect.design != "different_sessions",
        ),
    )

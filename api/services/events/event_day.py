"""Read the runs of an event's day, and correct them for the drift of the reference rotor."""

import math
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from analysis.event.drift import LEAST_RUNS, DriftCorrection, correct_drift
from analysis.trials.results import TrialResults, trial_results
from api.models.events.runs import EventRun
from api.models.registry.builds import Build
from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.measurements import flags
from api.services.measurements.frames import read_frame

EVENT, REFERENCE_KIND = "event", "reference"


@dataclass(frozen=True, slots=True)
class DayRun:
    """One run of the day with its power; the reference rotor has no team."""

    trial_id: str | None
    session_id: str
    team_id: str | None
    build_id: str
    build_number: int | None
    position: float
    outcome: str
    state: str | None
    power_w: float
    corrected_w: float
    #: Standard uncertainty of ln power, without what all runs of the bench share.
    u_own: float = float("nan")


@dataclass(frozen=True, slots=True)
class BestRun:
    """The best power of a team, its uncertainty, and the number of runs that it is the best of."""

    power_w: float
    u_own: float
    runs: int

    @property
    def interval_w(self) -> tuple[float, float]:
        """Return the interval that holds the true power with about 95 %, at this bench."""
        factor = math.exp(2 * self.u_own)
        return self.power_w / factor, self.power_w * factor


@dataclass(frozen=True, slots=True)
class Day:
    """An event's runs in their order, and the drift of each session, or None if unknown."""

    runs: list[DayRun]
    drifts: dict[str, DriftCorrection | None]
    reference_runs: dict[str, int]

    @property
    def needs_decision(self) -> bool:
        """Tell whether the reference rotor drifted too far in any session."""
        return any(each is not None and each.needs_decision for each in self.drifts.values())


def read_day(db: Session, event: Event, season: Season) -> Day:
    """Return an event's runs of the day, corrected for the drift of each session."""
    rows = list(db.scalars(select(EventRun).where(col(EventRun.season_id) == season.id)))
    official = {row.trial_id: row for row in rows if row.event_id == event.id}
    others = {row.trial_id for row in rows if row.event_id != event.id}
    frame = read_frame(
        db,
        col(Trial.id).in_(list(official)) if any(official) else _of_the_day(event, season),
        col(Trial.kind).in_((EVENT, REFERENCE_KIND)),
        flags.not_withdrawn,
    )
    results = trial_results(frame.trials, frame.runs)
    runs = [
        _day_run(frame.trials, at, results, official.get(str(frame.trials["trial_id"][at])))
        for at in range(len(frame))
        if str(frame.trials["trial_id"][at]) not in others
    ]
    drifts, counted = {}, {}
    for session in dict.fromkeys(run.session_id for run in runs):
        drifts[session], counted[session] = _correct(runs, session)
    unfinished = [
        DayRun(None, "", None, row.build_id, None, row.position, row.outcome, None, np.nan, np.nan)
        for row in rows
        if row.event_id == event.id and row.trial_id is None
    ]
    return Day(_with_teams(db, [*runs, *unfinished]), drifts, counted)


def _of_the_day(event: Event, season: Season) -> ColumnElement[bool]:
    """Return the condition on trials of the day's sessions that have trials of kind event.

    It is used only until officials record a run, so that later trials of that kind change no
    recorded results.
    """
    morning = event.morning(season.timezone)
    sessions = select(BenchSession.id).where(
        col(BenchSession.season_id) == season.id,
        col(BenchSession.started_at) >= morning,
        col(BenchSession.started_at) < morning + timedelta(days=1),
    )
    held = select(Trial.session_id).where(
        col(Trial.kind) == EVENT, col(Trial.session_id).in_(sessions)
    )
    return col(Trial.session_id).in_(held)


def _day_run(
    columns: Mapping[str, Any], at: int, results: TrialResults, row: EventRun | None
) -> DayRun:
    values = {name: columns[name][at] for name in (
        "trial_id", "session_id", "team_id", "build_id", "build_number", "state")}  # fmt: skip
    return DayRun(
        trial_id=str(values["trial_id"]),
        session_id=str(values["session_id"]),
        team_id=str(values["team_id"]) or None,
        build_id=str(values["build_id"]),
        build_number=int(values["build_number"]),
        position=float(row.position) if row else float(at + 1),
        outcome=row.outcome if row else "ok",
        state=str(values["state"]),
        power_w=float(results.power_w[at]),
        corrected_w=float(results.power_w[at]),
        u_own=float(results.u_own[at]),
    )


def _correct(runs: list[DayRun], session: str) -> tuple[DriftCorrection | None, int]:
    """Correct the runs of a session for drift, in place; None with too few reference runs."""
    in_session = [at for at, run in enumerate(runs) if run.session_id == session]
    sound = [
        at for at in in_session
        if runs[at].team_id is None and runs[at].state == flags.ACCEPTED
        and runs[at].power_w > 0
    ]  # fmt: skip
    rotors = Counter(runs[at].build_id for at in sound)
    if max(rotors.values(), default=0) < LEAST_RUNS:
        return None, len(sound)
    position = np.array([runs[at].position for at in in_session])
    power = np.array([runs[at].power_w for at in in_session])
    with np.errstate(divide="ignore", invalid="ignore"):
        correction = correct_drift(
            position, power,
            np.array([runs[at].position for at in sound]),
            np.array([runs[at].power_w for at in sound]),
            np.array([runs[at].build_id for at in sound]),
        )  # fmt: skip
    for at, corrected in zip(in_session, correction.power_w, strict=True):
        runs[at] = replace(runs[at], corrected_w=float(corrected))
    return correction, len(sound)


def _with_teams(db: Session, runs: list[DayRun]) -> list[DayRun]:
    """Return runs in their order; add the team to those that did not finish."""
    build_ids = {run.build_id for run in runs if run.trial_id is None}
    teams = {
        build_id: (team_id, number)
        for build_id, team_id, number in db.execute(
            select(Build.id, Turbine.team_id, Build.number)
            .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
            .where(col(Build.id).in_(build_ids))
        )
    }
    runs_with_teams = [
        replace(run, team_id=teams[run.build_id][0], build_number=teams[run.build_id][1])
        if run.trial_id is None else run
        for run in runs
    ]  # fmt: skip
    return sorted(runs_with_teams, key=lambda run: run.position)


def best_of_teams(day: Day, event: Event) -> dict[str, BestRun]:
    """Return the best run of each team among its first `best_of` ones.

    Runs count in the order of their positions; a repeated run counts at its new position.
    """
    counted: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for run in day.runs:
        power = run.power_w if event.drift_decision == "as_run" else run.corrected_w
        counts = run.outcome == "ok" and run.state == flags.ACCEPTED and np.isfinite(power)
        if run.team_id is not None and counts:
            counted[run.team_id].append((power, run.u_own))
    return {
        team: BestRun(*max(runs[: event.best_of]), len(runs[: event.best_of]))
        for team, runs in counted.items()
    }

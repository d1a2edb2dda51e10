"""Flags: what the data checks find, kept beside trials and sessions with their answers.

Flags follow from facts, so they are found again whenever a fact they rest on
changes: new ones are added, and open ones that no longer hold are cleared. A
trial is checked with all others of its bench and season, since what is usual
there is told by them.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any

import numpy as np
from sqlalchemy import ColumnElement, insert, or_, update
from sqlmodel import Session, col, select

from analysis.check_view import Finding, View
from analysis.checks import check_trials
from analysis.rules import GRAVEST
from analysis.trial_result import trial_results
from api.models.benches import Bench
from api.models.builds import Build
from api.models.flags import Flag, FlagRead
from api.models.ids import new_id
from api.models.sessions import BenchSession
from api.models.trials import Trial
from api.models.turbines import Turbine
from api.services import resources, sweeps
from api.services.frames import Frame, read_checked_frame

OPEN, CLEARED, CORRECTED = "open", "cleared", "corrected"
HELD, ACCEPTED, WITHDRAWN = "held", "accepted", "withdrawn"
AT_ONCE = 1000

#: What a flag is about, and which rule found it.
Place = tuple[str, str]


def recheck(db: Session, *conditions: ColumnElement[bool]) -> None:
    """Check anew the benches of trials that meet some conditions, and fit their sweeps again."""
    db.flush()
    benches: dict[str, set[str]] = defaultdict(set)
    touched = (
        select(Trial.season_id, BenchSession.bench_id)
        .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .where(*conditions)
    )
    for season_id, bench_id in db.execute(touched.distinct()):
        benches[season_id].add(bench_id)
    sweeps.refit(db, *conditions)
    for season_id, bench_ids in benches.items():
        recheck_benches(db, season_id, sorted(bench_ids))


def recheck_season(db: Session, season_id: str) -> None:
    """Check anew every trial of a season."""
    recheck(db, col(Trial.season_id) == season_id)


def at_bench(bench_id: str) -> ColumnElement[bool]:
    """Return the condition on trials that were run at a bench."""
    sessions = select(BenchSession.id).where(col(BenchSession.bench_id) == bench_id)
    return col(Trial.session_id).in_(sessions)


def resting_on(equipment_id: str) -> tuple[ColumnElement[bool], ...]:
    """Return the condition on trials whose result or checks rest on a piece of equipment."""
    sessions = (
        select(BenchSession.id)
        .join(Bench, col(Bench.id) == col(BenchSession.bench_id))
        .where(
            or_(
                col(BenchSession.meter_id) == equipment_id,
                col(Bench.anemometer_id) == equipment_id,
                col(Bench.fan_id) == equipment_id,
            )
        )
    )
    builds = (
        select(Build.id)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .where(col(Turbine.generator_id) == equipment_id)
    )
    return (
        or_(
            col(Trial.load_id) == equipment_id,
            col(Trial.session_id).in_(sessions),
            col(Trial.build_id).in_(builds),
        ),
    )


def recheck_benches(db: Session, season_id: str, bench_ids: list[str]) -> None:
    """Find the flags of some benches' trials in a season, and bring what is stored to them."""
    sessions = select(BenchSession.id).where(
        col(BenchSession.season_id) == season_id, col(BenchSession.bench_id).in_(bench_ids)
    )
    here = col(Trial.session_id).in_(sessions)
    frame = read_checked_frame(db, here, col(Trial.state) != WITHDRAWN)
    stored = _stored(db, season_id, here, col(Flag.session_id).in_(sessions))
    found = _find(frame) if len(frame) else {}
    _sync(db, season_id, frame, found, stored)


def _stored(
    db: Session, season_id: str, here: ColumnElement[bool], of_sessions: ColumnElement[bool]
) -> dict[Place, Flag]:
    """Return the stored flags of some trials and of their sessions."""
    of_trials = col(Flag.trial_id).in_(select(Trial.id).where(here))
    flags = select(Flag).where(col(Flag.season_id) == season_id, or_(of_trials, of_sessions))
    return {(str(flag.trial_id or flag.session_id), flag.rule): flag for flag in db.scalars(flags)}


def _find(frame: Frame) -> dict[Place, Finding]:
    """Return the gravest finding of each rule in each trial or session."""
    results = trial_results(frame.trials, frame.runs)
    view = View(frame.trials, frame.runs, results, now=datetime.now(UTC).timestamp())
    found: dict[Place, Finding] = {}
    for finding in check_trials(view):
        about = "trial_id" if finding.rule.scope == "trial" else "session_id"
        place = str(frame.trials[about][finding.trial]), finding.rule.name
        found.setdefault(place, finding)
    return found


def _sync(
    db: Session,
    season_id: str,
    frame: Frame,
    found: dict[Place, Finding],
    stored: dict[Place, Flag],
) -> None:
    """Bring stored flags and the trials' states to what the checks find now."""
    new = [
        _row(season_id, frame, finding) for place, finding in found.items() if place not in stored
    ]
    if new:
        db.execute(insert(Flag), new)
    for place, flag in stored.items():
        _renew(flag, found.get(place))
    db.flush()
    _hold(db, frame, {place[0] for place, each in found.items() if _holds(each, stored.get(place))})


def _row(season_id: str, frame: Frame, finding: Finding) -> dict[str, object]:
    of_trial = finding.rule.scope == "trial"
    owner = "organisation_id" if of_trial else "bench_organisation_id"
    return {
        "id": new_id(Flag.prefix),
        "trial_id": str(frame.trials["trial_id"][finding.trial]) if of_trial else None,
        "session_id": None if of_trial else str(frame.trials["session_id"][finding.trial]),
        "season_id": season_id,
        "organisation_id": str(frame.trials[owner][finding.trial]),
        "rule": finding.rule.name,
        "severity": finding.rule.severity,
        "message": finding.message,
        "advice": finding.rule.advice,
        "proposed_fix": finding.fix,
        "state": OPEN,
    }


def _renew(flag: Flag, finding: Finding | None) -> None:
    """Clear a flag that no longer holds; open again one that holds anew or more gravely."""
    if finding is None:
        flag.state = CLEARED if flag.state == OPEN else flag.state
        return
    is_graver = (flag.severity, finding.rule.severity) == ("warn", "hold")
    if flag.state in (CLEARED, CORRECTED) or is_graver:
        flag.state = OPEN
    flag.severity, flag.message = finding.rule.severity, finding.message
    flag.advice, flag.proposed_fix = finding.rule.advice, finding.fix


def _holds(finding: Finding, flag: Flag | None) -> bool:
    return finding.rule.severity == "hold" and (flag is None or flag.state == OPEN)


def _hold(db: Session, frame: Frame, held: set[str]) -> None:
    """Set the state of trials: held while an unanswered `hold` concerns them or their session."""
    states = np.asarray(frame.trials["state"])
    places = zip(frame.trials["trial_id"], frame.trials["session_id"], strict=True)
    is_held = [bool(held & {str(trial), str(session)}) for trial, session in places]
    ids = [str(trial_id) for trial_id in frame.trials["trial_id"]]
    for state in (HELD, ACCEPTED):
        moved = [
            trial_id
            for trial_id, before, holds in zip(ids, states, is_held, strict=True)
            if before != state and holds == (state == HELD)
        ]
        for start in range(0, len(moved), AT_ONCE):
            part = moved[start : start + AT_ONCE]
            db.execute(update(Trial).where(col(Trial.id).in_(part)).values(state=state))


def of_trials(db: Session, trial_ids: Iterable[str]) -> dict[str, list[FlagRead]]:
    """Return the flags of some trials and of their sessions that hold, gravest first."""
    by_trial: dict[str, list[FlagRead]] = defaultdict(list)
    ids = list(trial_ids)
    for start in range(0, len(ids), AT_ONCE):
        part = ids[start : start + AT_ONCE]
        about = (
            select(Trial.id, Flag)
            .join(
                Flag,
                or_(
                    col(Flag.trial_id) == col(Trial.id),
                    col(Flag.session_id) == col(Trial.session_id),
                ),
            )
            .where(col(Trial.id).in_(part), col(Flag.state) != CLEARED)
            .order_by(col(Flag.id))
        )
        for trial_id, flag in db.execute(about):
            by_trial[trial_id].append(resources.read(FlagRead, flag))
    for flags in by_trial.values():
        flags.sort(key=_gravest_first)
    return by_trial


def _gravest_first(flag: FlagRead) -> tuple[Any, ...]:
    own_first = flag.trial_id is None
    is_answered = flag.state != OPEN
    return is_answered, flag.rule != "personal_data", GRAVEST[flag.severity], own_first, flag.id

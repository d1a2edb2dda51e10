"""Flags: what the data checks find, kept beside the trial with its answer.

Flags follow from facts, so they are found again whenever a fact they rest on
changes: new ones are added, and open ones that no longer hold are cleared.
"""

from collections import defaultdict
from collections.abc import Iterable

import numpy as np
from sqlalchemy import ColumnElement, insert, or_, update
from sqlmodel import Session, col, select

from analysis.checks import Rule, check_trials
from analysis.trial_result import trial_results
from api.models.benches import Bench
from api.models.builds import Build
from api.models.flags import Flag
from api.models.ids import new_id
from api.models.sessions import BenchSession
from api.models.trials import FlagRead, Trial
from api.models.turbines import Turbine
from api.services import sweeps
from api.services.frames import Frame, read_frame

OPEN, CLEARED = "open", "cleared"
HELD, ACCEPTED = "held", "accepted"


def recheck(db: Session, *conditions: ColumnElement[bool]) -> None:
    """Check anew the trials that meet some conditions, and fit again the sweeps they belong to."""
    db.flush()
    frame = read_frame(db, *conditions, col(Trial.state) != "withdrawn")
    if len(frame):
        _sync(db, frame, _stored(db, *conditions))
    sweeps.refit(db, *conditions)


def recheck_season(db: Session, season_id: str) -> None:
    """Check anew every trial of a season."""
    recheck(db, col(Trial.season_id) == season_id)


def at_bench(bench_id: str) -> ColumnElement[bool]:
    """Return the condition on trials that were run at a bench."""
    sessions = select(BenchSession.id).where(col(BenchSession.bench_id) == bench_id)
    return col(Trial.session_id).in_(sessions)


def resting_on(equipment_id: str) -> tuple[ColumnElement[bool], ...]:
    """Return the condition on trials whose result rests on a piece of equipment."""
    sessions = (
        select(BenchSession.id)
        .join(Bench, col(Bench.id) == col(BenchSession.bench_id))
        .where(
            or_(
                col(BenchSession.meter_id) == equipment_id,
                col(Bench.anemometer_id) == equipment_id,
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


def _stored(db: Session, *conditions: ColumnElement[bool]) -> dict[tuple[str, str], Flag]:
    flags = select(Flag).join(Trial, col(Flag.trial_id) == col(Trial.id)).where(*conditions)
    return {(flag.trial_id, flag.rule): flag for flag in db.scalars(flags)}


def _sync(db: Session, frame: Frame, stored: dict[tuple[str, str], Flag]) -> None:
    """Bring stored flags and the trials' states to what the checks find now."""
    found = _find(frame)
    new = [
        _row(trial_id, rule)
        for (trial_id, name), rule in found.items()
        if (trial_id, name) not in stored
    ]
    if new:
        db.execute(insert(Flag), new)
    for place, flag in stored.items():
        _renew(flag, found.get(place))
    db.flush()
    _hold(db, frame, {place[0] for place, rule in found.items() if _holds(rule, stored.get(place))})


def _find(frame: Frame) -> dict[tuple[str, str], Rule]:
    """Return the gravest finding of each rule in each trial."""
    found: dict[tuple[str, str], Rule] = {}
    for finding in check_trials(frame.trials, trial_results(frame.trials, frame.runs)):
        trial_id = str(frame.trials["trial_id"][finding.trial])
        found.setdefault((trial_id, finding.rule.name), finding.rule)
    return found


def _row(trial_id: str, rule: Rule) -> dict[str, object]:
    return {
        "id": new_id(Flag.prefix),
        "trial_id": trial_id,
        "rule": rule.name,
        "severity": rule.severity,
        "message": rule.message,
        "advice": rule.advice,
        "state": OPEN,
    }


def _renew(flag: Flag, rule: Rule | None) -> None:
    """Clear a flag that no longer holds; open again one that holds anew or more gravely."""
    if rule is None:
        flag.state = CLEARED if flag.state == OPEN else flag.state
        return
    if flag.state == CLEARED or (flag.severity, rule.severity) == ("warn", "hold"):
        flag.state = OPEN
    flag.severity, flag.message, flag.advice = rule.severity, rule.message, rule.advice


def _holds(rule: Rule, flag: Flag | None) -> bool:
    return rule.severity == "hold" and (flag is None or flag.state == OPEN)


def _hold(db: Session, frame: Frame, held: set[str]) -> None:
    """Set the state of trials: held while an unanswered `hold` flag concerns them."""
    states = np.asarray(frame.trials["state"])
    ids = [str(trial_id) for trial_id in frame.trials["trial_id"]]
    for state in (HELD, ACCEPTED):
        moved = [
            trial_id
            for trial_id, before in zip(ids, states, strict=True)
            if before != state and (trial_id in held) == (state == HELD)
        ]
        for start in range(0, len(moved), 1000):
            part = moved[start : start + 1000]
            db.execute(update(Trial).where(col(Trial.id).in_(part)).values(state=state))


def of_trials(db: Session, trial_ids: Iterable[str]) -> dict[str, list[FlagRead]]:
    """Return the flags of some trials that have not been cleared, gravest first."""
    by_trial: dict[str, list[FlagRead]] = defaultdict(list)
    ids = list(trial_ids)
    for start in range(0, len(ids), 1000):
        flags = (
            select(Flag)
            .where(col(Flag.trial_id).in_(ids[start : start + 1000]), col(Flag.state) != CLEARED)
            .order_by(col(Flag.id))
        )
        for flag in db.scalars(flags):
            by_trial[flag.trial_id].append(FlagRead.model_validate(flag))
    return by_trial

"""Flags: what the data checks find, kept beside trials and sessions with their answers.

Flags follow from facts, so they are found again whenever a fact they rest on
changes: new ones are added, and open ones that no longer hold are cleared. A
trial is checked with all others of its bench and season, since what is usual
there depends on them.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

import numpy as np
from pydantic import TypeAdapter
from sqlalchemy import ColumnElement, Row, insert, literal_column, or_, update
from sqlmodel import Session, col, select

from analysis.checks.all_checks import check_trials, held_trials
from analysis.checks.rules import GRAVEST
from analysis.checks.view import Finding, Mask, Place, View
from analysis.trials.results import TrialResults, trial_results
from api.bulk import parts
from api.models.core.ids import new_id
from api.models.measurements.flags import Flag, FlagRead
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.sessions import BenchSession
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.measurements import results, sweeps
from api.services.measurements.flag_words import facts_of, words_of
from api.services.measurements.frames import Frame, read_checked_frame

OPEN, CLEARED, CONFIRMED = "open", "cleared", "confirmed"
HELD, ACCEPTED, WITHDRAWN = "held", "accepted", "withdrawn"
MOST_ROUNDS = 3
#: The rule of what is found by a season's fit, not by the checks of a bench: stored once answered.
UNLIKE_SEASON = "unlike_season"
READS = TypeAdapter(list[FlagRead])
WITHOUT_WORDS = {"reason": None, "answered_by": None}
FLAG_COLUMNS = [*(name for name in FlagRead.model_fields if name in Flag.model_fields), "facts"]
_FLAGS = select(*(getattr(Flag, name) for name in FLAG_COLUMNS))
#: What a finding says of a flag, and what tells which flag it is and how it stands.
FOUND = ("severity", "facts", "proposed_fix", "seen")
ASKED_AGAIN = {"state": OPEN, "reason": None, "answered_by": None, "answered_at": None}
_STORED = select(
    *(getattr(Flag, name) for name in ("id", "trial_id", "session_id", "rule", "state", *FOUND))
)
#: Written into statements and not bound to them: a server that plans for any state at all takes
#: what has another one for no rows, and reads the wrong way round.
not_withdrawn = col(Trial.state) != literal_column(f"'{WITHDRAWN}'")
not_cleared = col(Flag.state) != literal_column(f"'{CLEARED}'")


#: A row of `_STORED`.
StoredFlag = Row[tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Affected:
    """What some trials are about: in each season the benches, and the builds of wind sweeps."""

    benches: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    swept: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))


def affected_by(db: Session, *conditions: ColumnElement[bool]) -> Affected:
    """Return what trials that meet some conditions are about; ask before and after moving them."""
    db.flush()
    touched = (
        select(Trial.season_id, BenchSession.bench_id, Trial.build_id, Trial.kind)
        .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .where(*conditions)
    )
    found = Affected()
    for season_id, bench_id, build_id, kind in db.execute(touched.distinct()):
        found.benches[season_id].add(bench_id)
        if kind == sweeps.WIND:
            found.swept[season_id].add(build_id)
    return found


def recompute(db: Session, *affected: Affected) -> None:
    """Fit and check again what some trials are about, or were."""
    for season_id in sorted({each for one in affected for each in one.benches}):
        benches = set().union(*(one.benches[season_id] for one in affected))
        swept = set().union(*(one.swept[season_id] for one in affected))
        _recompute_season(db, season_id, benches, swept)


def _recompute_season(db: Session, season_id: str, bench_ids: set[str], swept: set[str]) -> None:
    """Fit sweeps and check benches in turn: a held trial leaves its sweep, a sweep moves results.

    A second round sees what the first one moved; the bound is for a pair that would move each other
    for ever.
    """
    for _ in range(MOST_ROUNDS):
        fitted = sweeps.refit_builds(db, season_id, sorted(swept))
        bench_ids = bench_ids | sweeps.benches_resting_on(db, season_id, fitted)
        swept = recheck_benches(db, season_id, sorted(bench_ids))
        if not swept:
            return
        bench_ids = set()


def recheck(db: Session, *conditions: ColumnElement[bool]) -> None:
    """Fit and check again what trials that meet some conditions are about."""
    recompute(db, affected_by(db, *conditions))


def recheck_season(db: Session, season_id: str) -> None:
    """Check again every trial of a season."""
    recheck(db, col(Trial.season_id) == season_id)


def at_bench(bench_id: str) -> ColumnElement[bool]:
    """Return the condition on trials that were run at a bench."""
    sessions = select(BenchSession.id).where(col(BenchSession.bench_id) == bench_id)
    return col(Trial.session_id).in_(sessions)


def of_team(team_id: str) -> ColumnElement[bool]:
    """Return the condition on trials of a team's turbines."""
    builds = (
        select(Build.id)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .where(col(Turbine.team_id) == team_id)
    )
    return col(Trial.build_id).in_(builds)


def beside(build: Build) -> ColumnElement[bool]:
    """Return the condition on trials of a build and of those before and after it."""
    near = select(Build.id).where(
        col(Build.turbine_id) == build.turbine_id,
        col(Build.number).between(build.number - 1, build.number + 1),
    )
    return col(Trial.build_id).in_(near)


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


def recheck_benches(db: Session, season_id: str, bench_ids: list[str]) -> set[str]:
    """Find results and flags of some benches' trials in a season, and bring what is kept to them.

    Returns the builds of wind trials that were held or let go by that. Each bench is looked at
    alone, so that what is found there does not depend on which others are looked at with it, and a
    season of any size finds room.
    """
    moved = (_recheck_bench(db, season_id, bench_id) for bench_id in bench_ids)
    return set().union(*moved)


def _recheck_bench(db: Session, season_id: str, bench_id: str) -> set[str]:
    sessions = select(BenchSession.id).where(
        col(BenchSession.season_id) == season_id, col(BenchSession.bench_id) == bench_id
    )
    here = col(Trial.session_id).in_(sessions)
    frame = read_checked_frame(db, here, not_withdrawn)
    stored = _stored(db, season_id, here, col(Flag.session_id).in_(sessions))
    computed = trial_results(frame.trials, frame.runs)
    results.store(db, frame, computed, here)
    if not len(frame):
        _sync(db, season_id, frame, {}, stored)
        return set()
    view = _view(frame, computed, stored)
    findings = check_trials(view)
    found: dict[Place, Finding] = {}
    for finding in findings:  # the gravest of each rule in each trial or session
        found.setdefault(view.place(finding), finding)
    _sync(db, season_id, frame, found, stored)
    return _hold(db, frame, held_trials(view, findings))


def _stored(
    db: Session, season_id: str, here: ColumnElement[bool], of_sessions: ColumnElement[bool]
) -> dict[Place, StoredFlag]:
    """Return the stored flags of some trials and of their sessions, as plain rows.

    Almost all are as they were, and to make objects of them takes longer than to find them again.
    """
    of_trials = col(Flag.trial_id).in_(select(Trial.id).where(here))
    rows = db.execute(_STORED.where(col(Flag.season_id) == season_id, or_(of_trials, of_sessions)))
    return {(str(row.trial_id or row.session_id), row.rule): row for row in rows}


def _view(frame: Frame, computed: TrialResults, stored: dict[Place, StoredFlag]) -> View:
    return View(
        frame.trials,
        frame.runs,
        computed,
        now=datetime.now(UTC).timestamp(),
        confirmed={place: flag.seen for place, flag in stored.items() if flag.state == CONFIRMED},
    )


def _sync(
    db: Session,
    season_id: str,
    frame: Frame,
    found: dict[Place, Finding],
    stored: dict[Place, StoredFlag],
) -> None:
    """Bring stored flags to what the checks find now."""
    new = [
        _row(season_id, frame, finding) for place, finding in found.items() if place not in stored
    ]
    if new:
        db.execute(insert(Flag), new)
    renewed = {flag.id: _renewed(flag, found.get(place)) for place, flag in stored.items()}
    changed = [flag_id for flag_id, values in renewed.items() if values]
    for part in parts(changed):
        for flag in db.scalars(select(Flag).where(col(Flag.id).in_(part))):
            for name, value in renewed[flag.id].items():
                setattr(flag, name, value)
            flag.version += 1
    db.flush()


def _row(season_id: str, frame: Frame, finding: Finding) -> dict[str, object]:
    of_trial = finding.rule.scope == "trial"
    owner = "organisation_id" if of_trial else "bench_organisation_id"
    return _columns_of(finding) | {
        "id": new_id(Flag.prefix),
        "trial_id": str(frame.trials["trial_id"][finding.trial]) if of_trial else None,
        "session_id": None if of_trial else str(frame.trials["session_id"][finding.trial]),
        "season_id": season_id,
        "organisation_id": str(frame.trials[owner][finding.trial]),
        "rule": finding.rule.name,
        "state": OPEN,
    }


def _columns_of(finding: Finding) -> dict[str, object]:
    return dict(zip(FOUND, _found_columns(finding), strict=True))


def _found_columns(finding: Finding) -> tuple[object, ...]:
    return finding.rule.severity, facts_of(finding), finding.fix, finding.seen


def _renewed(flag: StoredFlag, finding: Finding | None) -> dict[str, object]:
    """Return what changes of a flag: it clears, or asks again where something else is seen.

    A confirmation is about what was seen: it stays as long as that does, and only as long.
    """
    if finding is None:
        return {"state": CLEARED} if flag.state == OPEN else {}
    is_answered = flag.state == CONFIRMED and flag.seen in (None, finding.seen)
    is_asked_again = flag.state != OPEN and not is_answered
    stored = flag.severity, flag.facts, flag.proposed_fix, flag.seen
    if not is_asked_again and stored == _found_columns(finding):
        return {}
    return _columns_of(finding) | (ASKED_AGAIN if is_asked_again else {})


def _hold(db: Session, frame: Frame, held: Mask) -> set[str]:
    """Store which trials wait for an answer; return the builds of wind trials among the moved."""
    wanted = np.where(held, HELD, ACCEPTED)
    moved = np.flatnonzero(np.asarray(frame.trials["state"]) != wanted)
    for state in (HELD, ACCEPTED):
        ids = [str(frame.trials["trial_id"][at]) for at in moved if wanted[at] == state]
        for part in parts(ids):
            db.execute(update(Trial).where(col(Trial.id).in_(part)).values(state=state))
    kinds, builds = frame.trials["kind"], frame.trials["build_id"]
    return {str(builds[at]) for at in moved if kinds[at] == sweeps.WIND}


def of_trials(db: Session, sessions: Mapping[str, str]) -> dict[str, list[FlagRead]]:
    """Return the flags that hold of some trials and of their sessions, gravest first.

    `sessions` are the trials' own, by trial.
    """
    holding = defaultdict[str, list[FlagRead]](list)
    for flag in _holding(db, sorted(sessions), sorted(set(sessions.values()))):
        # A visitor's trial shows what holds of the host's session, but not the host's own words.
        shown = flag if flag.trial_id else flag.model_copy(update=WITHOUT_WORDS)
        holding[str(flag.trial_id or flag.session_id)].append(shown)
    found = {}
    for trial_id, session_id in sessions.items():
        flags = holding.get(trial_id, []) + holding.get(session_id, [])
        if flags:
            found[trial_id] = sorted(flags, key=_gravest_first)
    return found


def _holding(db: Session, trial_ids: list[str], session_ids: list[str]) -> list[FlagRead]:
    """Return the flags that hold about some trials or sessions."""
    about = [col(Flag.trial_id).in_(part) for part in parts(trial_ids)]
    about += [col(Flag.session_id).in_(part) for part in parts(session_ids)]
    # Of a page, which is one part of either, all in one statement.
    wanted = [or_(*about)] if len(about) == 2 else about
    rows = (row for each in wanted for row in db.execute(_FLAGS.where(each, not_cleared)))
    plain = (dict(zip(FLAG_COLUMNS, row, strict=True)) for row in rows)
    return READS.validate_python(
        [each | words_of(each["rule"], each["severity"], each.pop("facts")) for each in plain]
    )


def _gravest_first(flag: FlagRead) -> tuple[Any, ...]:
    own_first = flag.trial_id is None
    is_answered = flag.state != OPEN
    return is_answered, flag.rule != "personal_data", GRAVEST[flag.severity], own_first, flag.id

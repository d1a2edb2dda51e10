"""Flags: the findings of the data checks on trials and sessions, stored with their answers.

Flags follow from facts, so the checks run again whenever a fact they depend on
changes: new flags are added, and open ones that no longer hold are cleared. A
trial is checked with all others of its bench and season, since the usual values
there depend on them.
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
from api.many_rows import parts
from api.models.core.ids import new_id
from api.models.measurements.flags import Flag, FlagRead
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.sessions import BenchSession
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core.changes import note_bench
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
#: The columns of a flag that come from a finding; `_STORED` adds its identity and state.
FINDING_COLUMNS = ("severity", "facts", "proposed_fix", "seen")
ASKED_AGAIN = {"state": OPEN, "reason": None, "answered_by": None, "answered_at": None}
_STORED = select(
    *(
        getattr(Flag, name)
        for name in ("id", "trial_id", "session_id", "rule", "state", *FINDING_COLUMNS)
    )
)
#: The states are literals, not bound parameters: with a parameter, PostgreSQL estimates hardly any
#: rows with another state, and chooses a slow query plan.
not_withdrawn = col(Trial.state) != literal_column(f"'{WITHDRAWN}'")
not_cleared = col(Flag.state) != literal_column(f"'{CLEARED}'")


#: A row of `_STORED`.
StoredFlag = Row[tuple[Any, ...]]


@dataclass(frozen=True, slots=True)
class Affected:
    """The benches, and builds of wind sweeps, that some trials affect, by season."""

    benches: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    swept: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))


def affected_by(db: Session, *conditions: ColumnElement[bool]) -> Affected:
    """Return what the selected trials affect; call it before and after changing them."""
    db.flush()
    trials = (
        select(Trial.season_id, BenchSession.bench_id, Trial.build_id, Trial.kind)
        .join(BenchSession, col(BenchSession.id) == col(Trial.session_id))
        .where(*conditions)
    )
    affected = Affected()
    for season_id, bench_id, build_id, kind in db.execute(trials.distinct()):
        affected.benches[season_id].add(bench_id)
        if kind == sweeps.WIND:
            affected.swept[season_id].add(build_id)
    return affected


def recompute(db: Session, *affected: Affected) -> None:
    """Fit sweeps and check benches again where trials affect them."""
    for season_id in sorted({each for one in affected for each in one.benches}):
        benches = set().union(*(one.benches[season_id] for one in affected))
        swept = set().union(*(one.swept[season_id] for one in affected))
        _recompute_season(db, season_id, benches, swept)


def _recompute_season(db: Session, season_id: str, bench_ids: set[str], swept: set[str]) -> None:
    """Fit sweeps and check benches in turn: a held trial leaves its sweep, a sweep changes results.

    A second round handles what the first one changed; the bound stops two that change each other
    for ever.
    """
    for _ in range(MOST_ROUNDS):
        fitted = sweeps.refit_builds(db, season_id, sorted(swept))
        bench_ids = bench_ids | sweeps.benches_depending_on(db, season_id, fitted)
        swept = recheck_benches(db, season_id, sorted(bench_ids))
        if not swept:
            return
        bench_ids = set()


def note_moved(db: Session, *conditions: ColumnElement[bool]) -> None:
    """Note that trials count otherwise than before, although nothing has to be checked again."""
    for season_id, bench_ids in affected_by(db, *conditions).benches.items():
        for bench_id in bench_ids:
            note_bench(db, season_id, bench_id, ())


def recheck(db: Session, *conditions: ColumnElement[bool]) -> None:
    """Fit sweeps and check benches again that the selected trials affect."""
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


def near_build(build: Build) -> ColumnElement[bool]:
    """Return the condition on trials of a build and of those before and after it."""
    near = select(Build.id).where(
        col(Build.turbine_id) == build.turbine_id,
        col(Build.number).between(build.number - 1, build.number + 1),
    )
    return col(Trial.build_id).in_(near)


def depending_on(equipment_id: str) -> tuple[ColumnElement[bool], ...]:
    """Return the condition on trials whose result or checks depend on a piece of equipment."""
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
    """Compute the results and flags of benches in a season, and update the stored ones.

    Return the builds of wind trials that were held or released by that. Each bench is checked
    separately, so that its flags do not depend on which other benches are checked, and a season of
    any size fits into memory.
    """
    moved = (_recheck_bench(db, season_id, bench_id) for bench_id in bench_ids)
    return set().union(*moved)


def _recheck_bench(db: Session, season_id: str, bench_id: str) -> set[str]:
    sessions = select(BenchSession.id).where(
        col(BenchSession.season_id) == season_id, col(BenchSession.bench_id) == bench_id
    )
    at_this_bench = col(Trial.session_id).in_(sessions)
    frame = read_checked_frame(db, at_this_bench, not_withdrawn)
    stored = _stored(db, season_id, at_this_bench, col(Flag.session_id).in_(sessions))
    computed = trial_results(frame.trials, frame.runs)
    results.store(db, frame, computed, at_this_bench)
    host = db.scalar(select(Bench.organisation_id).where(col(Bench.id) == bench_id))
    owners = {str(host), *frame.trials["organisation_id"].tolist()}
    note_bench(db, season_id, bench_id, owners)
    if not len(frame):
        _sync(db, season_id, frame, {}, stored)
        return set()
    view = _view(frame, computed, stored)
    findings = check_trials(view)
    worst: dict[Place, Finding] = {}
    for finding in findings:  # the most serious of each rule in each trial or session
        worst.setdefault(view.place(finding), finding)
    _sync(db, season_id, frame, worst, stored)
    return _hold(db, frame, held_trials(view, findings))


def _stored(
    db: Session, season_id: str, of_bench: ColumnElement[bool], of_sessions: ColumnElement[bool]
) -> dict[Place, StoredFlag]:
    """Return the stored flags of trials and of their sessions, as plain rows.

    Almost all are unchanged, and making objects of them takes longer than checking again.
    """
    of_trials = col(Flag.trial_id).in_(select(Trial.id).where(of_bench))
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
    findings: dict[Place, Finding],
    stored: dict[Place, StoredFlag],
) -> None:
    """Update the stored flags to the findings of the checks."""
    new = [
        _row(season_id, frame, finding)
        for place, finding in findings.items()
        if place not in stored
    ]
    if new:
        db.execute(insert(Flag), new)
    renewed = {flag.id: _renewed(flag, findings.get(place)) for place, flag in stored.items()}
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
    return dict(zip(FINDING_COLUMNS, _finding_values(finding), strict=True))


def _finding_values(finding: Finding) -> tuple[object, ...]:
    return finding.rule.severity, facts_of(finding), finding.fix, finding.seen


def _renewed(flag: StoredFlag, finding: Finding | None) -> dict[str, object]:
    """Return the new values of a flag: it clears, or opens again if the check sees another value.

    A confirmation holds for the value that was seen, and only as long as that stays.
    """
    if finding is None:
        return {"state": CLEARED} if flag.state == OPEN else {}
    is_answered = flag.state == CONFIRMED and flag.seen in (None, finding.seen)
    is_asked_again = flag.state != OPEN and not is_answered
    stored = flag.severity, flag.facts, flag.proposed_fix, flag.seen
    if not is_asked_again and stored == _finding_values(finding):
        return {}
    return _columns_of(finding) | (ASKED_AGAIN if is_asked_again else {})


def _hold(db: Session, frame: Frame, held: Mask) -> set[str]:
    """Store which trials are held; return the builds of wind trials whose state changed."""
    wanted = np.where(held, HELD, ACCEPTED)
    moved = np.flatnonzero(np.asarray(frame.trials["state"]) != wanted)
    for state in (HELD, ACCEPTED):
        ids = [str(frame.trials["trial_id"][at]) for at in moved if wanted[at] == state]
        for part in parts(ids):
            db.execute(update(Trial).where(col(Trial.id).in_(part)).values(state=state))
    kinds, builds = frame.trials["kind"], frame.trials["build_id"]
    return {str(builds[at]) for at in moved if kinds[at] == sweeps.WIND}


def of_trials(db: Session, sessions: Mapping[str, str]) -> dict[str, list[FlagRead]]:
    """Return the flags that hold for trials and their sessions, most serious first.

    `sessions` has the session id of each trial id.
    """
    holding = defaultdict[str, list[FlagRead]](list)
    for flag in _holding(db, sorted(sessions), sorted(set(sessions.values()))):
        # A visitor's trial shows the flags of the host's session, but not the host's answers.
        shown = flag if flag.trial_id else flag.model_copy(update=WITHOUT_WORDS)
        holding[str(flag.trial_id or flag.session_id)].append(shown)
    by_trial = {}
    for trial_id, session_id in sessions.items():
        flags = holding.get(trial_id, []) + holding.get(session_id, [])
        if flags:
            by_trial[trial_id] = sorted(flags, key=_gravest_first)
    return by_trial


def _holding(db: Session, trial_ids: list[str], session_ids: list[str]) -> list[FlagRead]:
    """Return the flags that hold for trials or sessions."""
    about = [col(Flag.trial_id).in_(part) for part in parts(trial_ids)]
    about += [col(Flag.session_id).in_(part) for part in parts(session_ids)]
    # A page of trials fits into one part of each, so one query reads both.
    queries = [or_(*about)] if len(about) == 2 else about
    rows = (row for each in queries for row in db.execute(_FLAGS.where(each, not_cleared)))
    plain = (dict(zip(FLAG_COLUMNS, row, strict=True)) for row in rows)
    return READS.validate_python(
        [each | words_of(each["rule"], each["severity"], each.pop("facts")) for each in plain]
    )


def _gravest_first(flag: FlagRead) -> tuple[Any, ...]:
    own_first = flag.trial_id is None
    is_answered = flag.state != OPEN
    return is_answered, flag.rule != "personal_data", GRAVEST[flag.severity], own_first, flag.id

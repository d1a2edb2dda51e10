"""Check trials again, and fit sweeps again, when a fact that they depend on changes.

A trial is checked with all others of its bench and season, since the usual values there depend on
them; a trial that was just stored may need few of them (`new_trials`).
"""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from sqlalchemy import ColumnElement, or_
from sqlmodel import Session, col, select

from analysis.checks.all_checks import check_trials, held_trials
from analysis.trials.results import trial_results
from api.models.measurements.flags import Flag
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.sessions import BenchSession
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.services.core import revisions
from api.services.core.changes import note_bench
from api.services.measurements import flags, new_trials, older_trials, results, sweeps
from api.services.measurements.frames import read_checked_frame
from api.services.measurements.older_trials import NewTrials

MOST_ROUNDS = 3


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
        if swept:
            revisions.lock_whole(db, season_id)  # a sweep changes results at other schools' benches
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


def check_new(db: Session, trial_ids: Collection[str], import_id: str | None = None) -> None:
    """Check trials that were just stored, all of them by the import if there is one."""
    if len(trial_ids) > new_trials.MOST:
        # An import has more ids than a query can name.
        is_new = col(Trial.import_id) == import_id if import_id else col(Trial.id).in_(trial_ids)
        return recheck(db, is_new)
    db.flush()
    left = [each for new in older_trials.new_trials(db, trial_ids) for each in _check_new(db, new)]
    if left:
        recheck(db, col(Trial.id).in_(left))


def _check_new(db: Session, new: NewTrials) -> list[str]:
    """Check the new trials of a bench; return those that are left to check with all others."""
    owners = new_trials.check(db, new)
    if owners is None:
        return new.ids
    note_bench(db, new.season_id, new.bench_id, owners)
    return []


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
    frame = read_checked_frame(db, at_this_bench, flags.not_withdrawn)
    of_trials = col(Flag.trial_id).in_(select(Trial.id).where(at_this_bench))
    stored = flags.stored_about(db, season_id, of_trials, col(Flag.session_id).in_(sessions))
    computed = trial_results(frame.trials, frame.runs)
    results.store(db, results.rows_of(frame, computed), at_this_bench)
    _note(db, season_id, bench_id, frame.trials["organisation_id"].tolist())
    view = flags.view_of(frame, computed, stored)
    findings = check_trials(view) if len(frame) else []
    flags.sync(db, season_id, view, findings, stored)
    return flags.hold(db, view, held_trials(view, findings)) if len(frame) else set()


def _note(db: Session, season_id: str, bench_id: str, owners: Iterable[str]) -> None:
    """Note that trials of these schools at a bench, and its own school's, may count otherwise."""
    host = db.scalar(select(Bench.organisation_id).where(col(Bench.id) == bench_id))
    note_bench(db, season_id, bench_id, {str(host), *owners})

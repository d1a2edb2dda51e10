"""Submit one trial or many.

One trial and a hundred thousand take the same path: look up their targets,
store the new ones, compute and check all of them at once. A trial sent
again is not stored twice; the same name with other numbers is a conflict.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from operator import attrgetter
from typing import Any

from sqlalchemy import and_, bindparam, union_all
from sqlmodel import Session, col, select

from api.errors import ApiError, Conflict, FieldError
from api.many_rows import parts
from api.messages import say
from api.models.core.ids import is_id, new_id
from api.models.registry.builds import Build
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import (
    Run,
    RunCreate,
    Trial,
    TrialCreate,
    TrialFacts,
    TrialRead,
    TrialUpdate,
)
from api.prepared import Prepared
from api.services.core import audit, resources, revisions, turns
from api.services.core.scope import Caller, require_owner
from api.services.measurements import rechecks
from api.services.trials import event_days, stored_trials
from api.services.trials.rows import Name, Submission, digest_of, facts_of, insert
from api.services.trials.targets import Target, Targets, require_sound

AT_ONCE = 5_000  # trials of an import, whose submissions and rows are in memory together


@dataclass(frozen=True, slots=True)
class Submitted:
    """The outcome for one trial: stored now, stored before, or refused."""

    trial_id: str | None
    target: Target | None = None  # if the trial is new
    refusal: ApiError | None = None

    @property
    def created(self) -> bool:
        """Tell whether it was stored now."""
        return self.target is not None


@dataclass(frozen=True, slots=True)
class StoredTrial:
    """A stored trial with its facts, and the digest of the facts first submitted."""

    trial_id: str
    organisation_id: str
    session_id: str
    facts: Callable[[], dict[str, Any]]
    submitted_digest: str


MOST_LOOKED_FOR = 64  # submissions whose names and digests one query looks for
_refs: Any = bindparam("refs", expanding=True)
#: A trial that has one of some digests, or one of some names in any of some builds.
_ALIKE = Prepared(
    union_all(
        select(Trial.id).where(
            col(Trial.submitted_digest).in_(bindparam("digests", expanding=True))
        ),
        select(Trial.id).where(
            col(Trial.build_id).in_(bindparam("builds", expanding=True)),
            col(Trial.client_ref).in_(_refs),
        ),
        select(Trial.id).where(col(Trial.id).in_(_refs)),
    ).limit(1)
)
#: Stored trials by name and then by school.
StoredTrials = dict[Name, dict[str, StoredTrial]]


def submit_one(db: Session, caller: Caller, trial: TrialCreate) -> tuple[TrialRead, bool]:
    """Store one trial; return it, and whether it is new."""
    (outcome,) = submit_each(db, [(caller, trial)])
    if isinstance(outcome, ApiError):
        raise outcome
    return outcome


def submit_each(
    db: Session, submitted: Sequence[tuple[Caller, TrialCreate]]
) -> list[tuple[TrialRead, bool] | ApiError]:
    """Store single trials that arrived together; return each and if it is new, or its error."""
    _lock_schools(db, [trial for _, trial in submitted])
    outcomes: dict[int, Submitted] = {}
    for caller in dict.fromkeys(caller for caller, _ in submitted):
        of_caller = [at for at, (sender, _) in enumerate(submitted) if sender == caller]
        stored = _store(db, caller, [submitted[at][1] for at in of_caller])
        outcomes.update(zip(of_caller, stored, strict=True))
    created = {str(one.trial_id): submitted[at][0] for at, one in outcomes.items() if one.created}
    if created:
        rechecks.check_new(db, created)
    ids = sorted({str(one.trial_id) for one in outcomes.values() if one.trial_id})
    reads = {read.id: read for read in stored_trials.reads(db, ids)}
    # Last, because from here on all writers of the season wait until the commit.
    raised = revisions.raise_season(db, *_seasons_moved(outcomes.values()), only_trials=True)
    for read in reads.values():
        read.revision = raised.get(read.season_id, read.revision)
    audit.note_created(db, _audited(outcomes.values(), created))
    return [_outcome_of(outcomes[at], reads) for at in range(len(submitted))]


def _audited(
    outcomes: Iterable[Submitted], callers: Mapping[str, Caller]
) -> Iterator[tuple[Caller, Trial]]:
    """Yield what the audit log names of each new trial, in the order of seasons and ids."""
    rows = [
        Trial.model_construct(
            id=str(one.trial_id),
            season_id=one.target.session.season_id,
            organisation_id=one.target.owner,
        )
        for one in outcomes
        if one.target
    ]
    for row in sorted(rows, key=attrgetter("season_id", "id")):
        yield callers[row.id], row


def _seasons_moved(outcomes: Iterable[Submitted]) -> list[str]:
    """Return the season of each new trial."""
    return [one.target.session.season_id for one in outcomes if one.target]


def _outcome_of(
    outcome: Submitted, reads: dict[str, TrialRead]
) -> tuple[TrialRead, bool] | ApiError:
    """Return the stored trial and whether it is new, or the error."""
    return outcome.refusal or (reads[str(outcome.trial_id)], outcome.created)


def submit(
    db: Session, caller: Caller, trials: Sequence[TrialCreate], import_id: str | None = None
) -> list[Submitted]:
    """Store the new trials that are valid, and check them; return the outcome of each."""
    _lock_seasons(db, trials)
    stored = (_store(db, caller, part, import_id) for part in parts(trials, AT_ONCE))
    outcomes = [outcome for of_part in stored for outcome in of_part]
    created = [str(each.trial_id) for each in outcomes if each.created]
    if created:
        revisions.raise_season(db, *set(_seasons_moved(outcomes)), only_trials=True)
        rechecks.check_new(db, created, import_id)
    return outcomes


def _store(
    db: Session, caller: Caller, trials: Sequence[TrialCreate], import_id: str | None = None
) -> list[Submitted]:
    """Store the new trials that are valid, without checks; return the outcome of each."""
    submissions = [Submission(trial, digest_of(facts_of(trial))) for trial in trials]
    stored = _stored(db, caller, submissions)
    sessions = {trial.session_id for by_school in stored.values() for trial in by_school.values()}
    targets = Targets(db, caller, trials, sessions)
    new: dict[str, tuple[Submission, Target]] = {}
    outcomes = [_submit(one, targets, stored, new) for one in submissions]
    if new:
        insert(db, new, import_id)
        event_days.note_results(
            db, [target.session for each, target in new.values() if each.trial.kind == "event"]
        )
    return outcomes


def _lock_seasons(db: Session, trials: Sequence[TrialCreate]) -> None:
    """Make writers of the seasons take turns."""
    if not turns.is_server(db):
        return
    ids = sorted({trial.session_id for trial in trials})
    seasons = (
        select(BenchSession.season_id).where(col(BenchSession.id).in_(part)) for part in parts(ids)
    )
    revisions.lock(db, *{season for each in seasons for season in db.scalars(each.distinct())})


def _lock_schools(db: Session, trials: Sequence[TrialCreate]) -> None:
    """Make writers of the schools take turns whose benches and builds trials are of, if any."""
    if not turns.is_server(db):
        return
    sessions, builds = ({getattr(trial, name) for trial in trials}
                        for name in ("session_id", "build_id"))  # fmt: skip
    of_sessions = select(BenchSession.season_id, BenchSession.organisation_id).where(
        col(BenchSession.id).in_(sessions)
    )
    places = db.execute(of_sessions).all()
    owners = db.scalars(select(Build.organisation_id).where(col(Build.id).in_(builds)))
    schools = {row.organisation_id for row in places} | {each for each in owners if each}
    revisions.lock_schools(db, {row.season_id for row in places}, schools)


def _submit(
    submission: Submission,
    targets: Targets,
    stored: StoredTrials,
    new: dict[str, tuple[Submission, Target]],
) -> Submitted:
    """Add one trial to `new`, or return the stored one, or refuse it."""
    trial, name = submission.trial, submission.name
    by_school = {} if name is None else stored[name]
    try:
        target = targets.of(trial, is_stored=bool(by_school))
        stored_trial = by_school.get(target.owner)
        if stored_trial is not None:
            _require_same(submission, stored_trial)
            return Submitted(stored_trial.trial_id)
        require_sound(trial, target)
    except ApiError as refusal:
        return Submitted(None, refusal=refusal)
    trial_id = new_id(Trial.prefix)
    new[trial_id] = (submission, target)
    if name is not None:
        facts = partial(facts_of, trial)
        by_school[target.owner] = StoredTrial(
            trial_id, target.owner, trial.session_id, facts, submission.digest
        )
    return Submitted(trial_id, target)


def _stored(db: Session, caller: Caller, submissions: Sequence[Submission]) -> StoredTrials:
    """Return the stored trials with the same names or the same first facts as submissions.

    A reference rotor belongs to all schools, so each school has names of its own for its runs:
    trials of schools that the caller does not reach are left out.
    """
    digests = {one.digest: one.name for one in submissions if one.name}
    if not _may_be_stored(db, digests):
        return defaultdict(dict)
    named = _named(db, set(digests.values()))
    alike = [
        row
        for part in parts(sorted(digests))
        for row in db.scalars(select(Trial).where(col(Trial.submitted_digest).in_(part)))
    ]
    runs = runs_of(db, list(dict.fromkeys(row.id for row in (*named, *alike))))

    # A trial that was moved to another build still matches by the facts first submitted. An export
    # uses the id as the name of a trial without a name, so ids come last and override.
    matches = [(digests[row.submitted_digest], row) for row in alike]
    matches += [((row.build_id, str(row.client_ref)), row) for row in named]
    matches += [((row.build_id, row.id), row) for row in named]
    stored: StoredTrials = defaultdict(dict)
    for name, row in matches:
        if caller.reaches(row.organisation_id):
            facts = partial(stored_facts, row, runs[row.id])
            stored_trial = StoredTrial(
                row.id, row.organisation_id, row.session_id, facts, row.submitted_digest
            )
            stored[name][row.organisation_id] = stored_trial
    return stored


def _may_be_stored(db: Session, digests: Mapping[str, Name]) -> bool:
    """Tell whether any stored trial could have one of these names or digests.

    Almost all single trials are new, which one small query then finds.
    """
    if len(digests) > MOST_LOOKED_FOR:
        return True
    builds, refs = zip(*digests.values(), strict=True) if digests else ((), ())
    rows = _ALIKE.plain(db.connection(), digests=list(digests), builds=builds, refs=refs)
    return bool(rows)


def _named(db: Session, wanted: Collection[Name]) -> list[Trial]:
    """Return the trials of these builds that have one of these names, or one as their id."""
    # One query per build: otherwise a server compares all trials of all builds with every name.
    of_builds: dict[str, list[str]] = defaultdict(list)
    for build_id, ref in sorted(wanted):
        of_builds[build_id].append(ref)
    conditions = [
        and_(col(Trial.build_id) == build_id, col(Trial.client_ref).in_(part))
        for build_id, refs in of_builds.items()
        for part in parts(refs)
    ]
    ids = sorted(ref for _, ref in wanted if is_id(Trial.prefix, ref))
    conditions += [col(Trial.id).in_(part) for part in parts(ids)]
    rows = (row for each in conditions for row in db.scalars(select(Trial).where(each)))
    return [
        row
        for row in rows
        if not {(row.build_id, row.client_ref), (row.build_id, row.id)}.isdisjoint(wanted)
    ]


def runs_of(db: Session, trial_ids: list[str]) -> dict[str, list[Run]]:
    """Return the runs of trials, in their order."""
    by_trial: dict[str, list[Run]] = {trial_id: [] for trial_id in trial_ids}
    for part in parts(trial_ids):
        runs = select(Run).where(col(Run.trial_id).in_(part)).order_by(col(Run.number))
        for run in db.scalars(runs):
            by_trial[run.trial_id].append(run)
    return by_trial


def stored_facts(row: Trial, runs: list[Run]) -> dict[str, Any]:
    """Return the current facts of a stored trial."""
    facts = {name: getattr(row, name) for name in TrialFacts.model_fields if name != "note"}
    names = RunCreate.model_fields
    return facts | {"runs": [{name: getattr(run, name) for name in names} for run in runs]}


def _require_same(submission: Submission, stored_trial: StoredTrial) -> None:
    """Refuse a trial if a stored one has its name but other facts, now and when first submitted."""
    facts, stored = facts_of(submission.trial), stored_trial.facts()
    if submission.trial.client_ref == stored_trial.trial_id:
        facts["client_ref"] = stored["client_ref"]
    differing = [name for name in stored if stored[name] != facts[name]]
    if differing and submission.digest != stored_trial.submitted_digest:
        fields = ", ".join(differing)
        words = say("refused.client_ref_taken", name=submission.trial.client_ref, fields=fields)
        hint = say("fault.hint_client_ref")
        raise Conflict(words, [FieldError("client_ref_taken", words, hint, pointer="/client_ref")])


def change(
    db: Session, caller: Caller, trial_id: str, changes: TrialUpdate, version: int
) -> TrialRead:
    """Change a trial's note, which is checked for names of persons."""
    row = resources.get_row(db, caller, Trial, trial_id)
    require_owner(caller, row.organisation_id)
    revisions.raise_season(db, row.season_id, only_trials=True)
    if resources.change(db, caller, row, changes, version):
        rechecks.recheck(db, col(Trial.id) == row.id)
    return stored_trials.reads(db, [row.id])[0]

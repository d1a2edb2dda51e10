"""Trials: submit one or many, list, and what follows from them.

One trial and a hundred thousand take the same way: look up what they point at,
store what is new, compute and check all of it at once. The same trial sent
again is the one stored; the same name with other numbers is a conflict.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import ColumnElement, and_
from sqlmodel import Session, col, select

from api.bulk import parts
from api.errors import ApiError, Conflict, FieldError
from api.messages import say
from api.models.core.ids import is_id, new_id
from api.models.measurements.results import KeptResult
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import (
    Run,
    RunCreate,
    RunRead,
    Trial,
    TrialCreate,
    TrialFacts,
    TrialQuery,
    TrialRead,
    TrialUpdate,
)
from api.services.core import audit, resources, revisions
from api.services.core.scope import Caller, require_owner, visible
from api.services.measurements import flags
from api.services.measurements.results import KEPT_COLUMNS, results_of
from api.services.trials.rows import Name, Submission, digest_of, facts_of, insert
from api.services.trials.targets import Target, Targets, require_sound

READS = TypeAdapter(list[TrialRead])
#: What a trial's answer takes from its row as it stands there.
TRIAL_COLUMNS = [name for name in TrialRead.model_fields if name in Trial.model_fields]
#: That, its season's revision, and what is kept of its result.
ASKED: list[Any] = [
    *(getattr(Trial, name) for name in TRIAL_COLUMNS),
    Season.revision,
    *KEPT_COLUMNS,
]
TRIAL_WITH_RESULT = (
    select(*ASKED)
    .join(Season, col(Season.id) == col(Trial.season_id))
    .outerjoin(KeptResult, col(KeptResult.trial_id) == col(Trial.id))
)
RUN_COLUMNS = select(Run.trial_id, *(getattr(Run, name) for name in RunRead.model_fields)).order_by(
    col(Run.number)
)


@dataclass(frozen=True, slots=True)
class Submitted:
    """What became of one trial: stored now, stored before, or refused."""

    trial_id: str | None
    created_in: str | None = None  # the season of what is new
    refusal: ApiError | None = None

    @property
    def created(self) -> bool:
        """Tell whether it was stored now."""
        return self.created_in is not None


@dataclass(frozen=True, slots=True)
class StoredTrial:
    """A stored trial: whose, where, its facts if asked for, and the digest of its first ones."""

    trial_id: str
    organisation_id: str
    session_id: str
    facts: Callable[[], dict[str, Any]]
    submitted_digest: str


#: Stored trials by name and then by school.
KnownTrials = dict[Name, dict[str, StoredTrial]]


def submit_one(db: Session, caller: Caller, trial: TrialCreate) -> tuple[TrialRead, bool]:
    """Store one trial; return it, and whether it is new."""
    (outcome,) = submit_each(db, [(caller, trial)])
    if isinstance(outcome, ApiError):
        raise outcome
    return outcome


def submit_each(
    db: Session, sent: Sequence[tuple[Caller, TrialCreate]]
) -> list[tuple[TrialRead, bool] | ApiError]:
    """Store single trials that came at once; return each, and whether it is new, or its refusal."""
    revisions.lock(db, *_seasons_of(db, [trial for _, trial in sent]))
    outcomes: dict[int, Submitted] = {}
    for caller in dict.fromkeys(caller for caller, _ in sent):
        of_caller = [at for at, (sender, _) in enumerate(sent) if sender == caller]
        stored = _store(db, caller, [sent[at][1] for at in of_caller])
        outcomes.update(zip(of_caller, stored, strict=True))
    created = {str(one.trial_id): sent[at][0] for at, one in outcomes.items() if one.created}
    if created:
        revisions.raise_season(db, *_seasons_moved(outcomes.values()))
        flags.recheck(db, col(Trial.id).in_(created))
    in_order = (
        select(Trial)
        .where(col(Trial.id).in_(created))
        .order_by(col(Trial.season_id), col(Trial.id))
    )
    audit.note_created(db, [(created[row.id], row) for row in db.scalars(in_order)])
    ids = sorted({str(one.trial_id) for one in outcomes.values() if one.trial_id})
    reads = {read.id: read for read in _reads(db, ids)}
    return [_outcome_of(outcomes[at], reads) for at in range(len(sent))]


def _seasons_moved(outcomes: Iterable[Submitted]) -> list[str]:
    """Return the season of each new trial."""
    return [one.created_in for one in outcomes if one.created_in]


def _outcome_of(
    outcome: Submitted, reads: dict[str, TrialRead]
) -> tuple[TrialRead, bool] | ApiError:
    """Return the trial that was stored now or before, and which of both; or why it was not."""
    return outcome.refusal or (reads[str(outcome.trial_id)], outcome.created)


def submit(
    db: Session, caller: Caller, trials: Sequence[TrialCreate], import_id: str | None = None
) -> list[Submitted]:
    """Store the trials that are new and sound, and check them; say of each what became of it."""
    revisions.lock(db, *_seasons_of(db, trials))
    outcomes = _store(db, caller, trials, import_id)
    created = [str(each.trial_id) for each in outcomes if each.created]
    if created:
        revisions.raise_season(db, *set(_seasons_moved(outcomes)))
        mine = col(Trial.import_id) == import_id if import_id else col(Trial.id).in_(created)
        flags.recheck(db, mine)
    return outcomes


def _store(
    db: Session, caller: Caller, trials: Sequence[TrialCreate], import_id: str | None = None
) -> list[Submitted]:
    """Store the trials that are new and sound, unchecked; say of each what became of it."""
    sent = [Submission(trial, digest_of(facts_of(trial))) for trial in trials]
    stored = _stored(db, caller, sent)
    sessions = {known.session_id for named in stored.values() for known in named.values()}
    targets = Targets(db, caller, trials, sessions)
    new: dict[str, tuple[Submission, Target]] = {}
    outcomes = [_submit(one, targets, stored, new) for one in sent]
    if new:
        insert(db, new, import_id)
    return outcomes


def _seasons_of(db: Session, trials: Sequence[TrialCreate]) -> set[str]:
    ids = sorted({trial.session_id for trial in trials})
    seasons = (
        select(BenchSession.season_id).where(col(BenchSession.id).in_(part)) for part in parts(ids)
    )
    return {season_id for each in seasons for season_id in db.scalars(each.distinct())}


def _submit(
    sent: Submission,
    targets: Targets,
    stored: KnownTrials,
    new: dict[str, tuple[Submission, Target]],
) -> Submitted:
    """Take one trial to store, or find it stored, or refuse it."""
    trial, name = sent.trial, sent.name
    named = {} if name is None else stored[name]
    try:
        target = targets.of(trial, is_stored=bool(named))
        known = named.get(target.owner)
        if known is not None:
            _require_same(sent, known)
            return Submitted(known.trial_id)
        require_sound(trial, target)
    except ApiError as refusal:
        return Submitted(None, refusal=refusal)
    trial_id = new_id(Trial.prefix)
    new[trial_id] = (sent, target)
    if name is not None:
        facts = partial(facts_of, trial)
        named[target.owner] = StoredTrial(
            trial_id, target.owner, trial.session_id, facts, sent.digest
        )
    return Submitted(trial_id, target.session.season_id)


def _stored(db: Session, caller: Caller, sent: Sequence[Submission]) -> KnownTrials:
    """Return the stored trials that bear one of these names, or were first submitted like one.

    A reference rotor is everybody's, so each school has names of its own for its runs: what others
    stored is not looked at, and nothing is learnt of it.
    """
    digests = {one.digest: one.name for one in sent if one.name}
    named = _named(db, set(digests.values()))
    alike = [
        row
        for part in parts(sorted(digests))
        for row in db.scalars(select(Trial).where(col(Trial.submitted_digest).in_(part)))
    ]
    runs = runs_of(db, list(dict.fromkeys(row.id for row in (*named, *alike))))

    # Put to another build since, a trial is still known by what was first submitted. An export
    # names a trial that its coach gave no name by its id, which nothing goes before.
    found = [(digests[row.submitted_digest], row) for row in alike]
    found += [((row.build_id, str(row.client_ref)), row) for row in named]
    found += [((row.build_id, row.id), row) for row in named]
    stored: KnownTrials = defaultdict(dict)
    for name, row in found:
        if caller.reaches(row.organisation_id):
            facts = partial(stored_facts, row, runs[row.id])
            known = StoredTrial(
                row.id, row.organisation_id, row.session_id, facts, row.submitted_digest
            )
            stored[name][row.organisation_id] = known
    return stored


def _named(db: Session, wanted: Collection[Name]) -> list[Trial]:
    """Return the trials of these builds that bear one of these names, or have it as their id."""
    # Build by build: a server would compare all trials of all of them with every name.
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
    """Return the runs of some trials, in their order."""
    by_trial: dict[str, list[Run]] = {trial_id: [] for trial_id in trial_ids}
    for part in parts(trial_ids):
        runs = select(Run).where(col(Run.trial_id).in_(part)).order_by(col(Run.number))
        for run in db.scalars(runs):
            by_trial[run.trial_id].append(run)
    return by_trial


def stored_facts(row: Trial, runs: list[Run]) -> dict[str, Any]:
    """Return the facts of a stored trial, as they are now."""
    facts = {name: getattr(row, name) for name in TrialFacts.model_fields if name != "note"}
    names = RunCreate.model_fields
    return facts | {"runs": [{name: getattr(run, name) for name in names} for run in runs]}


def _require_same(sent: Submission, known: StoredTrial) -> None:
    """Refuse a trial whose name is taken by other numbers, now and when it was first submitted."""
    facts, stored = facts_of(sent.trial), known.facts()
    if sent.trial.client_ref == known.trial_id:
        facts["client_ref"] = stored["client_ref"]
    differing = [name for name in stored if stored[name] != facts[name]]
    if differing and sent.digest != known.submitted_digest:
        fields = ", ".join(differing)
        words = say("refused.client_ref_taken", name=sent.trial.client_ref, fields=fields)
        hint = say("fault.hint_client_ref")
        raise Conflict(words, [FieldError("client_ref_taken", words, hint, pointer="/client_ref")])


def get(db: Session, caller: Caller, trial_id: str) -> TrialRead:
    """Return a trial with its result."""
    return _reads(db, [resources.get_row(db, caller, Trial, trial_id).id])[0]


def page(db: Session, caller: Caller, query: TrialQuery) -> tuple[list[TrialRead], str | None]:
    """Return a page of trials with their results."""
    ids, after = resources.page_of_ids(db, caller, Trial, query)
    return _reads(db, ids), after


def newest(
    db: Session, caller: Caller, *conditions: ColumnElement[bool], most: int
) -> list[TrialRead]:
    """Return the newest trials that meet some conditions, newest first, with their results."""
    mine = visible(caller, Trial).with_only_columns(col(Trial.id)).where(*conditions)
    return _reads(db, list(db.scalars(mine.order_by(col(Trial.id).desc()).limit(most))))


def change(
    db: Session, caller: Caller, trial_id: str, changes: TrialUpdate, version: int
) -> TrialRead:
    """Change a trial's note, which is looked at for what names a person."""
    row = resources.get_row(db, caller, Trial, trial_id)
    require_owner(caller, row.organisation_id)
    revisions.raise_season(db, row.season_id)
    if resources.change(db, caller, row, changes, version):
        flags.recheck(db, col(Trial.id) == row.id)
    return _reads(db, [row.id])[0]


def _reads(db: Session, ids: Sequence[str]) -> list[TrialRead]:
    """Return trials in the shape they are answered in, with what is kept of their results."""
    standing = _standing(db, ids)
    trials_by_id = {
        trial_id: dict(zip(TRIAL_COLUMNS, row, strict=False)) for trial_id, row in standing.items()
    }
    kept = {trial_id: row[len(TRIAL_COLUMNS) + 1 :] for trial_id, row in standing.items()}
    results, runs = results_of(db, kept), _read_runs(db, ids)
    found = flags.of_trials(
        db, {trial_id: each["session_id"] for trial_id, each in trials_by_id.items()}
    )
    return READS.validate_python(
        [
            trials_by_id[trial_id]
            | {
                "revision": standing[trial_id][len(TRIAL_COLUMNS)],
                "runs": runs[trial_id],
                "result": results[trial_id],
                "flags": found.get(trial_id, []),
            }
            for trial_id in ids
        ]
    )


def _standing(db: Session, ids: Sequence[str]) -> dict[str, Sequence[Any]]:
    """Return what `TRIAL_WITH_RESULT` asks for of some trials, by their ids."""
    at = TRIAL_COLUMNS.index("id")
    rows = (
        row
        for part in parts(ids)
        for row in db.execute(TRIAL_WITH_RESULT.where(col(Trial.id).in_(part)))
    )
    return {row[at]: row for row in rows}


def _read_runs(db: Session, trial_ids: Sequence[str]) -> dict[str, list[dict[str, Any]]]:
    """Return what `RunRead` holds of the runs of some trials, in their order."""
    runs_by_trial: dict[str, list[dict[str, Any]]] = {trial_id: [] for trial_id in trial_ids}
    for part in parts(trial_ids):
        for trial_id, *run in db.execute(RUN_COLUMNS.where(col(Run.trial_id).in_(part))):
            runs_by_trial[trial_id].append(dict(zip(RunRead.model_fields, run, strict=True)))
    return runs_by_trial

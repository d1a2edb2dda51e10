"""Read stored trials with their runs, results and flags: as plain values, or as API shapes."""

from collections import defaultdict
from collections.abc import Sequence
from itertools import chain
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import ColumnElement, bindparam
from sqlmodel import Session, col, select

from api.many_rows import parts
from api.models.measurements.results import CachedResult
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.trials.trial_queries import TrialQuery
from api.models.trials.trials import Run, RunRead, Trial, TrialRead
from api.prepared import Prepared
from api.services.core import pages, resources
from api.services.core.pages import Rest
from api.services.core.scope import Caller, visible
from api.services.measurements import flags
from api.services.measurements.results import CACHED_COLUMNS, results_of
from api.services.trials.choosing import chosen_ids

READS = TypeAdapter(list[TrialRead])
#: The fields of an answer, in order: those of the trial's row and of its season, then the others.
FIELDS = list(TrialRead.model_fields)
COPIED = [name for name in FIELDS if name not in ("runs", "result", "flags")]
_COLUMNS: list[Any] = [
    Season.revision if name == "revision" else getattr(Trial, name) for name in COPIED
]
_IDS: Any = bindparam("trial_ids", expanding=True)
#: The copied columns and the cached result.
_TRIALS = Prepared(
    select(*_COLUMNS, *CACHED_COLUMNS)
    .join(Season, col(Season.id) == col(Trial.season_id))
    .outerjoin(CachedResult, col(CachedResult.trial_id) == col(Trial.id))
    .where(col(Trial.id).in_(_IDS))
)
_RUN_COLUMNS: list[Any] = [Run.trial_id, *(getattr(Run, name) for name in RunRead.model_fields)]
_RUNS = Prepared(
    select(*_RUN_COLUMNS)
    .where(col(Run.trial_id).in_(_IDS))
    .order_by(col(Run.trial_id), col(Run.number))
)
_ID, _SESSION = COPIED.index("id"), COPIED.index("session_id")
Plain = dict[str, Any]


def get(db: Session, caller: Caller, trial_id: str) -> TrialRead:
    """Return a trial with its result."""
    return reads(db, [resources.get_row(db, caller, Trial, trial_id).id])[0]


def newest(
    db: Session, caller: Caller, *conditions: ColumnElement[bool], most: int
) -> list[TrialRead]:
    """Return the newest trials that meet the conditions, newest first, with their results."""
    ids = visible(caller, Trial).with_only_columns(col(Trial.id)).where(*conditions)
    return reads(db, list(db.scalars(ids.order_by(col(Trial.id).desc()).limit(most))))


def page(db: Session, caller: Caller, query: TrialQuery) -> tuple[list[Plain], Rest]:
    """Return a page of trials with their results as plain values, and what is beyond it."""
    is_plain = query.filters().keys() == query.column_filters().keys()
    if is_plain and query.sort.removeprefix("-") == pages.BY_TIME:
        ids, rest = pages.page_of_ids(db, caller, Trial, query)
    else:
        by = {"started_at": BenchSession.started_at}
        wanted = chosen_ids(db, caller, query)
        ids, rest = pages.page_of_chosen_ids(db, Trial, query, wanted, by)
    return plain(db, ids), rest


def reads(db: Session, ids: Sequence[str]) -> list[TrialRead]:
    """Return trials as API shapes, in the order of ids."""
    return READS.validate_python(plain(db, ids))


def plain(db: Session, ids: Sequence[str]) -> list[Plain]:
    """Return the fields of `TrialRead` of each trial, in the order of ids.

    They come from checked facts: validating them again takes as long as reading them.
    """
    rows = {row[_ID]: row for row in _read(db, _TRIALS, ids)}
    cached = {trial_id: row[len(COPIED) :] for trial_id, row in rows.items()}
    results, runs = results_of(db, cached), _runs(db, ids)
    flags_of = flags.of_trials(db, {trial_id: row[_SESSION] for trial_id, row in rows.items()})
    more = ((runs[each], results[each], flags_of.get(each, [])) for each in ids)
    return [
        dict(zip(FIELDS, (*rows[trial_id][: len(COPIED)], *others), strict=True))
        for trial_id, others in zip(ids, more, strict=True)
    ]


def _runs(db: Session, ids: Sequence[str]) -> dict[str, list[Plain]]:
    """Return the fields of `RunRead` of the runs of trials, in their order."""
    by_trial = defaultdict[str, list[Plain]](list)
    names = list(RunRead.model_fields)
    for trial_id, *run in _read(db, _RUNS, ids):
        by_trial[trial_id].append(dict(zip(names, run, strict=True)))
    return by_trial


def _read(db: Session, query: Prepared, ids: Sequence[str]) -> list[tuple[Any, ...]]:
    rows = (query.tuples(db.connection(), trial_ids=part) for part in parts(ids))
    return list(chain.from_iterable(rows))

"""Remember what recent writes changed, so that answers need not all be made again.

A write notes in its session which organisations and benches it touches and whose key it was; once
it is committed, the change is remembered with the revisions that it raised the season by. Whatever
revisions changed that are missing, as they are of long ago, is not known.

An embedded database has one service, which has its changes in memory. Processes that share a
server store each change in its own transaction, and read those that they do not know yet: a
snapshot with a season's revision has all its changes up to that one.
"""

import threading
import time
from collections import defaultdict, deque
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field

from sqlalchemy import Engine, delete, event, insert
from sqlalchemy.orm import SessionTransaction
from sqlmodel import Session, col, select

from api.models.core.changes import SeasonChange
from api.models.registry.seasons import Season
from api.services.core.turns import is_server

MOST_REMEMBERED = 500  # changes of a season
TRIMMED_EVERY = 50  # revisions: then the stored changes are cut to those remembered
MOST_NAMED = 50  # benches, or schools, of one change; a change of more concerns all of them
NOTED = "noted change"


@dataclass(frozen=True, slots=True)
class Change:
    """One committed write to a season: the revisions after `before` up to `revision`.

    `only_trials` if no other facts changed than those of trials. `organisations` are the schools
    that they are about, None for all of them; `benches` where they were run, None for anywhere.
    """

    before: int
    revision: int
    keys: frozenset[str]
    only_trials: bool
    organisations: frozenset[str] | None
    benches: frozenset[str] | None
    at_s: float


@dataclass(slots=True)
class _Noted:
    """What the transaction of a session has touched so far."""

    #: Each raised season's revision before the transaction and after it.
    raised: dict[str, tuple[int, int]] = field(default_factory=dict)
    #: Seasons of which facts other than trials changed.
    otherwise: set[str] = field(default_factory=set)
    keys: set[str] = field(default_factory=set)
    organisations: set[str | None] = field(default_factory=set)
    benches: defaultdict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    #: False once a part of the transaction was undone: which part is not known.
    is_known: bool = True


class ChangeLog:
    """The recent changes of all seasons in one database."""

    def __init__(self) -> None:
        self._changes: defaultdict[str, deque[Change]] = defaultdict(
            lambda: deque(maxlen=MOST_REMEMBERED)
        )
        #: From which revision on to which one all changes are known and about trials only.
        self._only_trials: dict[str, tuple[int, int]] = {}
        self._turn, self._reading = threading.Lock(), threading.Lock()

    def add(self, season_id: str, change: Change) -> None:
        """Remember a change."""
        with self._turn:
            self._changes[season_id].append(change)
            since, until = self._only_trials.get(season_id, (0, 0))
            if change.only_trials and change.before == until:
                self._only_trials[season_id] = since, change.revision
            elif change.revision > until:
                self._only_trials[season_id] = change.revision, change.revision
            elif not change.only_trials:  # it was remembered after a later one
                self._only_trials[season_id] = until, until

    def newest(self, season_id: str) -> int:
        """Return the newest revision of a season that is remembered; 0 if none is."""
        with self._turn:
            changes = self._changes[season_id]
            return changes[-1].revision if changes else 0

    def add_newer(self, season_id: str, changes: Iterable[Change]) -> None:
        """Remember changes in the order of their revisions, without those known already."""
        with self._reading:
            newest = self.newest(season_id)
            for change in changes:
                if change.revision > newest:
                    self.add(season_id, change)

    def facts_revision(self, season_id: str, revision: int) -> int:
        """Return the revision since which only trials changed; this one itself if unknown."""
        with self._turn:
            since, until = self._only_trials.get(season_id, (0, 0))
        return since if since <= revision <= until else revision

    def between(self, season_id: str, older: int, newer: int) -> list[Change] | None:
        """Return the changes from one revision to a newer one; None if one of them is not known."""
        with self._turn:
            found = [each for each in self._changes[season_id] if older <= each.before < newer]
        found.sort(key=lambda change: change.before)
        reached = older
        for change in found:
            if change.before != reached:
                return None
            reached = change.revision
        return found if reached == newer else None


_logs: dict[str, ChangeLog] = {}


def log_of(engine: Engine) -> ChangeLog:
    """Return the log of the database that an engine connects to."""
    return _logs.setdefault(engine.url.render_as_string(hide_password=False), ChangeLog())


def facts_revision(db: Session, season: Season) -> int:
    """Return the revision since which no facts changed but those of trials, as far as is known."""
    return _log_until(db, season).facts_revision(season.id, season.revision)


def changes_since(db: Session, season: Season, revision: int) -> list[Change] | None:
    """Return the changes of a season since an older revision; None if one of them is not known."""
    return _log_until(db, season).between(season.id, revision, season.revision)


def _log_until(db: Session, season: Season) -> ChangeLog:
    """Return the log with all stored changes up to the season's revision as this session sees it.

    A transaction that raised the revision itself has not stored its change yet.
    """
    log = log_of(db.get_bind().engine)
    if is_server(db) and log.newest(season.id) < season.revision:
        log.add_newer(season.id, _stored(db, season.id, log.newest(season.id)))
    return log


def _stored(db: Session, season_id: str, after: int) -> list[Change]:
    """Return the stored changes of a season after a revision, in order."""
    newer = select(SeasonChange).where(
        col(SeasonChange.season_id) == season_id, col(SeasonChange.revision) > after
    )
    began_s = time.time() - time.monotonic()  # a stored time is the calendar's, ours is not
    return [
        Change(
            before=row.before,
            revision=row.revision,
            keys=frozenset(row.keys),
            only_trials=row.only_trials,
            organisations=_ids(row.organisations),
            benches=_ids(row.benches),
            at_s=row.at_s - began_s,
        )
        for row in db.scalars(newer.order_by(col(SeasonChange.revision)))
    ]


def _ids(stored: Collection[str] | None) -> frozenset[str] | None:
    return None if stored is None else frozenset(stored)


def _listed(ids: Collection[str] | None) -> list[str] | None:
    return None if ids is None else sorted(ids)


def _store(db: Session, season_id: str, change: Change) -> None:
    """Store a change with its transaction; now and then remove those that are too old."""
    row = {
        "season_id": season_id,
        "revision": change.revision,
        "before": change.before,
        "only_trials": change.only_trials,
        "keys": sorted(change.keys),
        "organisations": _listed(change.organisations),
        "benches": _listed(change.benches),
        "at_s": time.time(),
    }
    db.execute(insert(SeasonChange), row)
    if change.before // TRIMMED_EVERY != change.revision // TRIMMED_EVERY:
        oldest = change.revision - MOST_REMEMBERED
        over = col(SeasonChange.season_id) == season_id, col(SeasonChange.revision) <= oldest
        db.execute(delete(SeasonChange).where(*over))


def erase_changes(db: Session) -> None:
    """Remove the stored changes of all seasons: they name schools and keys that were erased."""
    db.execute(delete(SeasonChange))


def forget_changes() -> None:
    """Forget the changes of all databases."""
    _logs.clear()


def note_raised(
    db: Session, season_id: str, before: int, revision: int, *, only_trials: bool
) -> None:
    """Note that a transaction raised a season's revision, by trials only or by other facts."""
    noted = _noted(db)
    first, _ = noted.raised.get(season_id, (before, revision))
    noted.raised[season_id] = first, revision
    if not only_trials:
        noted.otherwise.add(season_id)


def note_writer(db: Session, key_id: str, owners: Collection[str | None]) -> None:
    """Note whose key changes a thing, and whose thing it is; None is the programme's.

    An import has no owner: its trials have theirs.
    """
    noted = _noted(db)
    noted.keys.add(key_id)
    noted.organisations.update(owners)


def note_bench(db: Session, season_id: str, bench_id: str, organisation_ids: Iterable[str]) -> None:
    """Note that trials at a bench may have other results or states, and whose trials they are."""
    noted = _noted(db)
    noted.benches[season_id].add(bench_id)
    noted.organisations.update(organisation_ids)


def _noted(db: Session) -> _Noted:
    noted: _Noted | None = db.info.get(NOTED)
    if noted is None:
        noted = db.info[NOTED] = _Noted()
        event.listen(db, "before_commit", _remember)
        event.listen(db, "after_soft_rollback", _doubt)
    return noted


def _doubt(db: Session, previous: SessionTransaction) -> None:
    """Remember nothing of a transaction that went on after a part of it was undone."""
    if previous.nested and NOTED in db.info:
        db.info[NOTED].is_known = False


def _remember(db: Session) -> None:
    """Remember what a transaction touched, with its commit."""
    if db.in_nested_transaction() or NOTED not in db.info:
        return
    noted: _Noted = db.info.pop(NOTED)
    if not noted.is_known:
        return
    log, now = log_of(db.get_bind().engine), time.monotonic()
    changes = [
        (season_id, _change(noted, season_id, before, revision, now))
        for season_id, (before, revision) in noted.raised.items()
    ]
    if is_server(db):
        for each in changes:
            _store(db, *each)
        return

    def committed(_: Session) -> None:
        for season_id, change in changes:
            log.add(season_id, change)

    event.listen(db, "after_commit", committed, once=True)


def _change(noted: _Noted, season_id: str, before: int, revision: int, at_s: float) -> Change:
    only_trials = season_id not in noted.otherwise
    schools = None if None in noted.organisations else {str(each) for each in noted.organisations}
    return Change(
        before=before,
        revision=revision,
        keys=frozenset(noted.keys),
        only_trials=only_trials,
        organisations=_few(schools) if schools else None,
        benches=_few(noted.benches[season_id]) if only_trials else None,
        at_s=at_s,
    )


def _few(ids: set[str]) -> frozenset[str] | None:
    """Return ids to remember, or None if they are too many."""
    return frozenset(ids) if len(ids) <= MOST_NAMED else None

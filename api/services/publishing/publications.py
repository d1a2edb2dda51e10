"""Store the publications of a season's trials, and which one is shown at which revision.

An embedded database has one service, which has its choices in memory, so that readers never wait
for a writer. Hosts that share a database server must show the same, so there each choice is also a
row: the host that is first to choose for a revision chooses for all.
"""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

import numpy as np
from sqlalchemy import ColumnElement, NullPool, func
from sqlmodel import Session, col, delete, select

from api.embedded import engine_for
from api.models.publishing.published import PublishedTrials
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.seasons import Season
from api.services.core.cache import cache_of
from api.services.measurements.frames import Array
from api.services.measurements.season_trials import SeasonTrials
from api.services.publishing.packed_trials import packed, unpacked


@dataclass(frozen=True, slots=True)
class Publication:
    """A season's trials at the moment when they were published."""

    revision: int
    taken_at_s: float
    trials: SeasonTrials
    #: Digests of all states in which trials were ever published, up to this one.
    states: Array
    #: Whether these were all trials of its revision; otherwise some were held back, or unknown.
    is_complete: bool = False


@dataclass(frozen=True, slots=True)
class Choice:
    """The publication shown at a revision: that of an earlier revision, or its own."""

    revision: int
    shows: int
    #: The time of the choice, and the new publication, if there is one.
    chosen_at_s: float
    published: Publication | None = None


@dataclass
class Shelf:
    """The publications of one season in the memory of a process."""

    published: dict[int, Publication] = field(default_factory=dict)
    #: For each revision, the revision whose trials are shown: its own or an earlier one.
    shown: dict[int, int] = field(default_factory=dict)
    #: When a change since the last publication was first seen. [s]
    changed_at_s: float | None = None
    #: When it was last considered to publish again at the same revision. [s]
    considered_at_s: float = 0.0
    lock: threading.Lock = field(default_factory=threading.Lock)

    def last(self) -> Publication | None:
        """Return the last publication."""
        return self.published.get(max(self.published, default=0))

    def shown_at(self, revision: int) -> Publication | None:
        """Return the publication that is shown at a revision; None if its own trials are.

        Raise `KeyError` if nothing was chosen for it.
        """
        return self.published.get(self.shown[revision])

    def has_chosen(self, revision: int) -> bool:
        """Tell whether the publication to show at a revision was chosen."""
        shown = self.shown.get(revision)
        return shown == revision or shown in self.published

    def take(self, choice: Choice) -> None:
        """Apply the choice for a revision."""
        if choice.published is not None:
            self.add(choice.published)
        self.shown[choice.revision] = choice.shows
        is_current = choice.shows == choice.revision
        self.changed_at_s = None if is_current else self.changed_at_s or choice.chosen_at_s

    def add(self, publication: Publication) -> None:
        """Add a publication; drop those older than the last one before it."""
        last = min(max(self.published, default=0), publication.revision)
        self.published = {at: old for at, old in self.published.items() if at >= last}
        self.shown = {at: shows for at, shows in self.shown.items() if shows >= last}
        self.published[publication.revision] = publication

    def clear(self) -> None:
        """Forget everything."""
        self.published, self.shown, self.changed_at_s = {}, {}, None


def shelf_of(db: Session, season: Season) -> Shelf:
    """Return this process's publications of a season."""
    shelf: Shelf = cache_of(db).pinned.get_or_make(("published", season.id), Shelf)
    return shelf


def choose(db: Session, season: Season, chosen: Callable[[Shelf], Choice | None]) -> Shelf:
    """Choose the publication for the season's revision, one caller at a time.

    `chosen` returns None if the shelf already has the choice. A choice is applied once it is
    stored.
    """
    shelf = shelf_of(db, season)
    with shelf.lock:
        if db.get_bind().dialect.name != "postgresql":
            choice = chosen(shelf)
        else:
            with _session_of_its_own(db) as rows:
                shared = _SharedShelf(rows, shelf, season)
                shared.read()
                choice = chosen(shelf)
                if choice is not None:
                    shared.write(choice)
        if choice is not None:
            is_again = choice.revision in shelf.shown
            shelf.take(choice)
            if is_again:  # answers of this revision show the publication before
                cache_of(db).outdate(season.id, choice.revision)
    return shelf


def erase_trials(db: Session) -> None:
    """Remove trials whose build or bench was erased from all publications."""
    ids = select(PublishedTrials.season_id).distinct()
    for season_id in sorted(db.scalars(ids)):
        _wait_for_turn(db, season_id)
        publications = select(PublishedTrials).where(
            col(PublishedTrials.season_id) == season_id, col(PublishedTrials.content).is_not(None)
        )
        for row in db.scalars(publications):
            row.content = packed(without_erased(db, unpacked(row.content or b"")))
    db.flush()


def without_erased(db: Session, trials: SeasonTrials) -> SeasonTrials:
    """Return the trials whose build and bench were not erased."""
    builds, benches = (set(db.scalars(select(table.id))) for table in (Build, Bench))
    names = trials.trials["build_id"].tolist(), trials.trials["bench_id"].tolist()
    if builds.issuperset(names[0]) and benches.issuperset(names[1]):
        return trials
    pairs = zip(*names, strict=True)
    are_left = [build in builds and bench in benches for build, bench in pairs]
    return trials.only(np.array(are_left, dtype=bool))


@contextmanager
def _session_of_its_own(db: Session) -> Iterator[Session]:
    """Open a session with a connection of its own.

    The reader's own transaction cannot write, and does not see later choices of other hosts.
    """
    engine = engine_for(db.get_bind().engine.url, poolclass=NullPool)
    try:
        with Session(engine) as session, session.begin():
            yield session
    finally:
        engine.dispose()


def _wait_for_turn(db: Session, season_id: str) -> None:
    """Lock the publications of a season against other hosts until this transaction ends."""
    if db.get_bind().dialect.name == "postgresql":
        turn = func.pg_advisory_xact_lock(func.hashtextextended(f"published {season_id}", 0))
        db.connection().execute(select(turn))


@dataclass(frozen=True, slots=True)
class _SharedShelf:
    """The database rows that the shelves of several hosts share."""

    rows: Session
    shelf: Shelf
    season: Season

    def read(self) -> None:
        """Load the last publication and the choice for this revision from the shared rows."""
        _wait_for_turn(self.rows, self.season.id)
        revision = self.season.revision
        query = select(PublishedTrials.revision, PublishedTrials.taken_at_s).where(
            *self._here(), col(PublishedTrials.content).is_not(None)
        )
        stored = {row.revision: row.taken_at_s for row in self.rows.execute(query)}
        if not stored:
            self.shelf.clear()
            return
        newest = max(stored)
        chosen = self.rows.scalar(
            select(PublishedTrials.shows).where(
                *self._here(), col(PublishedTrials.revision) == revision
            )
        )
        loaded = {at: each.taken_at_s for at, each in self.shelf.published.items()}
        for at in sorted({newest, chosen or newest}):
            if loaded.get(at) != stored.get(
                at
            ):  # not loaded yet, or published again by another host
                self._add(at)
        if chosen is not None:
            self.shelf.shown[revision] = chosen
        self.shelf.changed_at_s = self._changed_at_s()

    def _changed_at_s(self) -> float | None:
        """Return when a host first chose to show the last publication at a later revision."""
        is_current = col(PublishedTrials.shows) == col(PublishedTrials.revision)
        last = select(func.max(PublishedTrials.revision)).where(*self._here(), is_current)
        return self.rows.scalar(
            select(func.min(PublishedTrials.taken_at_s)).where(
                *self._here(), col(PublishedTrials.revision) > last.scalar_subquery()
            )
        )

    def _add(self, revision: int) -> None:
        row = self.rows.get(PublishedTrials, (self.season.id, revision))
        if row is not None and row.content is not None:
            states = np.frombuffer(row.states or b"", dtype="<u8")
            self.shelf.add(Publication(row.revision, row.taken_at_s, unpacked(row.content), states))

    def write(self, choice: Choice) -> None:
        """Store a choice for other hosts; delete rows older than the last publications."""
        fresh = choice.published
        row = PublishedTrials(
            season_id=self.season.id,
            revision=choice.revision,
            shows=choice.shows,
            taken_at_s=choice.chosen_at_s,
            # Do not store rows again that were erased after the reader's snapshot.
            content=packed(without_erased(self.rows, fresh.trials)) if fresh else None,
            states=fresh.states.tobytes() if fresh else None,
        )
        self.rows.merge(row)
        if fresh and self.shelf.published:
            self.rows.execute(
                delete(PublishedTrials).where(
                    *self._here(), col(PublishedTrials.revision) < max(self.shelf.published)
                )
            )

    def _here(self) -> tuple[ColumnElement[bool], ...]:
        return (col(PublishedTrials.season_id) == self.season.id,)

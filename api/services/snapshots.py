"""What was published of a season's trials, and at which revision which publication is shown.

An embedded database has one service, which holds its choices in memory: its readers wait for no
writer. Hosts that share a database server must show the same, so there each choice is a row as
well: the host that is first to choose for a revision chooses for all.
"""

import hashlib
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime

from sqlalchemy import ColumnElement, NullPool, func
from sqlmodel import Session, col, delete, select

from api.embedded import engine_for
from api.models.published import PublishedTrials
from api.models.seasons import Season
from api.services.cache import cache_of
from api.services.packed_trials import packed, unpacked
from api.services.season_trials import SeasonTrials


@dataclass(frozen=True, slots=True)
class Snapshot:
    """A season's trials at the moment when they were published."""

    revision: int
    taken_at_s: float
    trials: SeasonTrials


@dataclass
class Shelf:
    """What a process knows of publications of one season to keys of one reach."""

    published: dict[int, Snapshot] = field(default_factory=dict)
    #: By revision the one whose trials are shown at it: its own, or an earlier publication's.
    shown: dict[int, int] = field(default_factory=dict)
    #: When it was first seen that others' trials are no longer those published last.
    changed_at_s: float | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)

    def last(self) -> Snapshot | None:
        """Return what was published last."""
        return self.published.get(max(self.published, default=0))

    def shown_at(self, revision: int) -> Snapshot | None:
        """Return the publication that is shown at a revision instead of its own trials."""
        shown = self.shown.get(revision)
        return None if shown in (None, revision) else self.published.get(shown)

    def has_chosen(self, revision: int) -> bool:
        """Tell whether it is known what is shown at a revision."""
        shown = self.shown.get(revision)
        return shown == revision or shown in self.published

    def keep(self, revision: int, snapshot: Snapshot, now_s: float) -> None:
        """Choose for a revision what was published before it."""
        self.shown[revision] = snapshot.revision
        self.changed_at_s = self.changed_at_s or now_s

    def show_current(self, revision: int) -> None:
        """Choose for a revision its own trials, others' being the same as those published last."""
        self.shown[revision] = revision
        self.changed_at_s = None

    def publish(self, snapshot: Snapshot) -> None:
        """Publish the trials of a revision; what was published before the last ones goes."""
        last = max(self.published, default=0)
        self.published = {at: old for at, old in self.published.items() if at >= last}
        self.shown = {at: shows for at, shows in self.shown.items() if at >= last}
        self.published[snapshot.revision] = snapshot
        self.shown[snapshot.revision] = snapshot.revision
        self.changed_at_s = None


def shelf_of(db: Session, season: Season, own: frozenset[str]) -> Shelf:
    """Return what this process knows of publications to keys that reach these organisations."""
    name = "published", season.id, _reach(own)
    shelf: Shelf = cache_of(db).pinned.get_or_make(name, Shelf)
    return shelf


@contextmanager
def choosing(db: Session, season: Season, own: frozenset[str]) -> Iterator[Shelf]:
    """Give the shelf for choosing what is shown at the season's revision; others wait meanwhile."""
    shelf = shelf_of(db, season, own)
    with shelf.lock:
        if db.get_bind().dialect.name != "postgresql":
            yield shelf
            return
        with _session_in_turn(db, f"{season.id} {_reach(own)}") as rows:
            shared = _SharedShelf(rows, shelf, season, _reach(own))
            shared.read()
            before = shelf.shown.get(season.revision)
            yield shelf
            if shelf.shown.get(season.revision) != before:
                shared.write()


@contextmanager
def _session_in_turn(db: Session, name: str) -> Iterator[Session]:
    """Give a session that no other host has under this name.

    It has a connection of its own, since a reader writes nothing and sees others' choices only as
    they were when it began.
    """
    engine = engine_for(db.get_bind().engine.url, poolclass=NullPool)
    try:
        with Session(engine) as session, session.begin():
            turn = func.pg_advisory_xact_lock(func.hashtextextended(name, 0))
            session.connection().execute(select(turn))
            yield session
    finally:
        engine.dispose()


@dataclass(frozen=True, slots=True)
class _SharedShelf:
    """The rows that several hosts' shelves have in common."""

    rows: Session
    shelf: Shelf
    season: Season
    reach: str

    def read(self) -> None:
        """Take over what other hosts published last and what they chose for this revision."""
        revision = self.season.revision
        newest = self.rows.scalar(
            select(func.max(PublishedTrials.revision)).where(
                *self._here(), col(PublishedTrials.content).is_not(None)
            )
        )
        if newest is None:  # what was published was erased
            self.shelf.published, self.shelf.shown, self.shelf.changed_at_s = {}, {}, None
            return
        self.shelf.changed_at_s = self._changed_at_s()
        chosen = self.rows.scalar(
            select(PublishedTrials.shows).where(
                *self._here(), col(PublishedTrials.revision) == revision
            )
        )
        if chosen is not None:
            self.shelf.shown[revision] = chosen
        for at in {newest, chosen} - {None, *self.shelf.published}:
            self._take(at)

    def _changed_at_s(self) -> float | None:
        """Return when hosts first chose to keep what was published last."""
        is_current = col(PublishedTrials.shows) == col(PublishedTrials.revision)
        last = select(func.max(PublishedTrials.revision)).where(*self._here(), is_current)
        return self.rows.scalar(
            select(func.min(PublishedTrials.taken_at_s)).where(
                *self._here(), col(PublishedTrials.revision) > last.scalar_subquery()
            )
        )

    def _take(self, revision: int | None) -> None:
        row = self.rows.get(PublishedTrials, (self.season.id, self.reach, revision))
        if row is not None and row.content is not None:
            snapshot = Snapshot(row.revision, row.taken_at_s, unpacked(row.content))
            self.shelf.published[row.revision] = snapshot

    def write(self) -> None:
        """Give other hosts what was chosen; rows of before the last publications go."""
        revision = self.season.revision
        fresh = self.shelf.published.get(revision)
        row = PublishedTrials(
            season_id=self.season.id,
            reach=self.reach,
            revision=revision,
            shows=self.shelf.shown[revision],
            taken_at_s=fresh.taken_at_s if fresh else datetime.now(UTC).timestamp(),
            content=packed(fresh.trials) if fresh else None,
        )
        self.rows.merge(row)
        oldest = min(self.shelf.published)
        self.rows.execute(
            delete(PublishedTrials).where(*self._here(), col(PublishedTrials.revision) < oldest)
        )

    def _here(self) -> tuple[ColumnElement[bool], ...]:
        return (
            col(PublishedTrials.season_id) == self.season.id,
            col(PublishedTrials.reach) == self.reach,
        )


def _reach(own: frozenset[str]) -> str:
    return hashlib.sha256(",".join(sorted(own)).encode()).hexdigest()

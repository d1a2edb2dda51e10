"""Erasing for good: a whole season, or a school with all its words.

The record gives up entries only to an erasure that is written down. A season's chain goes with the
season; of a school's entries the words go, and their places in the chains are kept, so that the
seals around them still tell of any other gap.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from sqlalchemy import ColumnElement, Delete, Update, delete, or_, update
from sqlmodel import Session, SQLModel, col, select

from api.bulk import parts
from api.errors import NotFound
from api.models.access.idempotency import StoredAnswer
from api.models.access.web_sessions import WebSession
from api.models.core.audit import AuditChain, AuditEntry
from api.models.core.ids import new_id
from api.models.core.shapes import Stored
from api.models.imports.imports import ImportBatch, ImportOrganisation
from api.models.operations.erasures import Erased, Erasure
from api.models.registry.seasons import Season
from api.models.reporting.shares import Share
from api.models.trials.trials import Trial
from api.services.access.keys import CONSOLE
from api.services.core import audit, revisions
from api.services.operations.tables import Rows, of_season
from api.services.publishing import publications

#: A retry comes within minutes; a script that was left for a holiday, within weeks. [days]
ANSWERS_KEPT, ENDED_KEPT = 60, 30


@dataclass
class Eraser:
    """One erasure under way: what it took out so far, by table."""

    db: Session
    erasure: Erasure
    counts: Counter[str] = field(default_factory=Counter)

    def take_out(self, table: type[SQLModel], condition: ColumnElement[bool]) -> None:
        """Delete rows, and the words that the record has of them."""
        if issubclass(table, Stored) and table is not AuditEntry:
            self.empty_record(col(AuditEntry.thing_id).in_(select(table.id).where(condition)))
        self.counts[str(table.__tablename__)] += self._run(delete(table).where(condition))

    def empty_record(self, condition: ColumnElement[bool]) -> None:
        """Take the words out of some entries; their places stay."""
        emptied = update(AuditEntry).where(condition, col(AuditEntry.erasure_id).is_(None))
        words = {"changes": None, "reason": None, "key_label": ""}
        self._run(emptied.values(erasure_id=self.erasure.id, **words))

    def take_out_imports(self, import_ids: Iterable[str]) -> None:
        """Delete imports of which no trial is left, and what was kept of their rows."""
        ids = sorted(import_ids)
        for some in parts(ids):
            left = select(Trial.import_id).where(col(Trial.import_id).in_(some))
            gone = sorted(set(some) - set(self.db.scalars(left)))
            self.take_out(ImportOrganisation, col(ImportOrganisation.import_id).in_(gone))
            self.take_out(ImportBatch, col(ImportBatch.id).in_(gone))
            self.reword(ImportBatch, col(ImportBatch.id).in_(some), rows=[], refused=None)

    def reword(
        self, table: type[SQLModel], condition: ColumnElement[bool], **values: object
    ) -> None:
        """Write over what rows say that others still rest on."""
        self._run(update(table).where(condition).values(**values))

    def finish(self) -> dict[str, int]:
        """Write down what was done; return the rows taken out of each table."""
        self.erasure.rows = {name: count for name, count in self.counts.items() if count}
        self.db.flush()
        audit.note(self.db, CONSOLE, "erased", self.erasure)
        publications.erase_trials(self.db)
        revisions.raise_all(self.db)
        return dict(self.erasure.rows)

    def _run(self, statement: Update | Delete) -> int:
        return self.db.connection().execute(statement).rowcount


def begin(db: Session, kind: Erased, erased_id: str) -> Eraser:
    """Write an erasure down, before the record gives up anything to it."""
    erasure = Erasure(id=new_id(Erasure.prefix), kind=kind, erased_id=erased_id)
    db.add(erasure)
    db.flush()
    return Eraser(db, erasure)


def erase_season(db: Session, season_id: str) -> dict[str, int]:
    """Erase a season with all that is of it alone; schools, rooms and equipment stay.

    Returns the rows taken out of each table. Raises `NotFound` where there is no such season.
    """
    revisions.lock_all(db)
    if db.get(Season, season_id) is None:
        raise NotFound(f"no season {season_id}")
    eraser = begin(db, "season", season_id)
    brought = select(Trial.import_id).where(
        col(Trial.season_id) == season_id, col(Trial.import_id).is_not(None)
    )
    imports = {str(each) for each in db.scalars(brought.distinct())}
    eraser.take_out(AuditEntry, col(AuditEntry.chain) == season_id)
    eraser.take_out(AuditChain, col(AuditChain.chain) == season_id)
    for table, condition in reversed(of_season(season_id)):
        eraser.take_out(table, condition)
    eraser.take_out_imports(imports)
    eraser.take_out(StoredAnswer, col(StoredAnswer.body).contains(season_id))
    return eraser.finish()


def due_seasons(db: Session, today: date, retention_days: int) -> list[Season]:
    """Return the seasons that ended longer ago than they are to be kept."""
    last = today - timedelta(days=retention_days)
    over = select(Season).where(col(Season.ends_on) < last)
    return list(db.scalars(over.order_by(col(Season.ends_on), col(Season.id))))


def tidy(db: Session, now: datetime) -> dict[str, int]:
    """Take out what has ended: kept answers, browsers' sessions, share links; return how many."""
    answers, ended = (now.astimezone(UTC) - timedelta(days=days) for days in
                      (ANSWERS_KEPT, ENDED_KEPT))  # fmt: skip
    over: Rows = [
        (StoredAnswer, col(StoredAnswer.created_at) < answers),
        (WebSession, col(WebSession.created_at) < ended),
        (Share, or_(col(Share.expires_at) < ended, col(Share.revoked_at) < ended)),
    ]
    return {
        str(table.__tablename__): db.connection().execute(delete(table).where(condition)).rowcount
        for table, condition in over
    }

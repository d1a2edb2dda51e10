"""Erase a complete season, or a school with all its texts.

Audit entries are erased only by an erasure that is recorded itself. A season's chain is erased with
the season; of a school's entries only the texts are erased, and their places in the chains stay, so
that the seals around them still show any other gap.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from sqlalchemy import ColumnElement, Delete, Update, delete, or_, update
from sqlmodel import Session, SQLModel, col, select

from api.errors import NotFound
from api.many_rows import parts
from api.models.access.idempotency import StoredAnswer
from api.models.access.keys import AccessKey
from api.models.access.web_sessions import WebSession
from api.models.core.audit import AuditChain, AuditEntry
from api.models.core.ids import new_id
from api.models.core.shapes import Stored
from api.models.imports.imports import ImportBatch, ImportOrganisation
from api.models.operations.erasures import Erased, Erasure
from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.models.reporting.shares import Share
from api.models.trials.trials import Trial
from api.models.webhooks.deliveries import WebhookDelivery
from api.services.access.keys import CONSOLE
from api.services.core import audit, changes, revisions
from api.services.operations.tables import Rows, tables_of_one_season
from api.services.publishing import publications

#: Answers stay longer than any retry comes, even of a script after a holiday. [days]
ANSWER_DAYS, ENDED_DAYS = 60, 30


@dataclass
class Eraser:
    """One erasure, with the number of erased rows by table."""

    db: Session
    erasure: Erasure
    counts: Counter[str] = field(default_factory=Counter)

    def delete_rows(self, table: type[SQLModel], condition: ColumnElement[bool]) -> None:
        """Delete rows, and the texts of their audit entries."""
        if issubclass(table, Stored):
            self.empty_record(col(AuditEntry.thing_id).in_(select(table.id).where(condition)))
        self.counts[str(table.__tablename__)] += self._run(delete(table).where(condition))

    def empty_record(self, condition: ColumnElement[bool]) -> None:
        """Erase the texts of audit entries; the entries stay."""
        emptied = update(AuditEntry).where(condition, col(AuditEntry.erasure_id).is_(None))
        words = {"changes": None, "reason": None, "key_label": ""}
        self._run(emptied.values(erasure_id=self.erasure.id, **words))

    def delete_imports(self, import_ids: Iterable[str]) -> None:
        """Delete imports without trials, and the stored rows of the others."""
        ids = sorted(import_ids)
        for part in parts(ids):
            remaining = select(Trial.import_id).where(col(Trial.import_id).in_(part))
            empty = sorted(set(part) - set(self.db.scalars(remaining)))
            self.delete_rows(ImportOrganisation, col(ImportOrganisation.import_id).in_(empty))
            self.delete_rows(ImportBatch, col(ImportBatch.id).in_(empty))
            self.reword(ImportBatch, col(ImportBatch.id).in_(part), rows=[], refused=None)

    def reword(
        self, table: type[SQLModel], condition: ColumnElement[bool], **values: object
    ) -> None:
        """Overwrite texts of rows that other rows still need."""
        self._run(update(table).where(condition).values(**values))

    def finish(self) -> dict[str, int]:
        """Record the erasure; return the number of erased rows of each table."""
        self.erasure.rows = {name: count for name, count in self.counts.items() if count}
        self.db.flush()
        audit.note(self.db, CONSOLE, "erased", self.erasure)
        publications.erase_trials(self.db)
        changes.erase_changes(self.db)
        revisions.raise_all(self.db)
        return dict(self.erasure.rows)

    def _run(self, statement: Update | Delete) -> int:
        return self.db.connection().execute(statement).rowcount


def begin(db: Session, kind: Erased, erased_id: str) -> Eraser:
    """Record an erasure before any audit entry is erased."""
    erasure = Erasure(id=new_id(Erasure.prefix), kind=kind, erased_id=erased_id)
    db.add(erasure)
    db.flush()
    return Eraser(db, erasure)


def erase_season(db: Session, season_id: str) -> dict[str, int]:
    """Erase a season with everything that belongs only to it; schools, benches and equipment stay.

    Return the number of erased rows of each table. Raise `NotFound` for an unknown season.
    """
    revisions.lock_all(db)
    if db.get(Season, season_id) is None:
        raise NotFound(f"no season {season_id}")
    eraser = begin(db, "season", season_id)
    brought = select(Trial.import_id).where(
        col(Trial.season_id) == season_id, col(Trial.import_id).is_not(None)
    )
    imports = {str(each) for each in db.scalars(brought.distinct())}
    trials = select(Trial.id).where(col(Trial.season_id) == season_id)
    events = select(Event.id).where(col(Event.season_id) == season_id)
    thing = col(WebhookDelivery.thing_id)
    eraser.delete_rows(
        WebhookDelivery, or_(thing.in_(trials), thing.in_(events), thing.in_(imports))
    )
    eraser.delete_rows(AuditEntry, col(AuditEntry.chain) == season_id)
    eraser.delete_rows(AuditChain, col(AuditChain.chain) == season_id)
    for table, condition in reversed(tables_of_one_season(season_id)):
        eraser.delete_rows(table, condition)
    eraser.delete_imports(imports)
    eraser.delete_rows(StoredAnswer, col(StoredAnswer.body).contains(season_id))
    return eraser.finish()


def due_seasons(db: Session, today: date, retention_days: int) -> list[Season]:
    """Return the seasons that ended longer ago than the retention time."""
    last = today - timedelta(days=retention_days)
    over = select(Season).where(col(Season.ends_on) < last)
    return list(db.scalars(over.order_by(col(Season.ends_on), col(Season.id))))


def tidy(db: Session, now: datetime) -> dict[str, int]:
    """Delete old stored answers, browser sessions, share links and deliveries of webhooks.

    Addresses of ended keys are deleted, too. Return the number of each.
    """
    answers, ended = (now.astimezone(UTC) - timedelta(days=days) for days in
                      (ANSWER_DAYS, ENDED_DAYS))  # fmt: skip
    over: Rows = [
        (StoredAnswer, col(StoredAnswer.created_at) < answers),
        (WebSession, col(WebSession.created_at) < ended),
        (Share, or_(col(Share.expires_at) < ended, col(Share.revoked_at) < ended)),
        (WebhookDelivery, col(WebhookDelivery.created_at) < ended),
    ]
    counts = {
        str(table.__tablename__): db.connection().execute(delete(table).where(condition)).rowcount
        for table, condition in over
    }
    unneeded = update(AccessKey).where(
        col(AccessKey.sign_in_email).is_not(None), col(AccessKey.expires_at) < ended
    )
    counts["sign_in_email"] = db.connection().execute(unneeded.values(sign_in_email=None)).rowcount
    return counts

"""Read the audit log: the change history of one thing, or the complete log."""

from sqlalchemy import ColumnElement
from sqlmodel import Session, col

from api.models.core.audit import AuditEntry, AuditQuery, AuditRead, HistoryQuery
from api.models.core.shapes import Recorded
from api.services.core import pages, resources
from api.services.core.pages import Rest
from api.services.core.scope import Caller, Table


def of_thing(
    db: Session, caller: Caller, table: type[Table], row_id: str, query: HistoryQuery
) -> tuple[list[AuditRead], Rest]:
    """Return a page of the change history of one thing that the caller may see, oldest first."""
    row = resources.get_row(db, caller, table, row_id)
    rows, after = pages.page(db, caller, AuditEntry, query, _about(row))
    return [resources.read(AuditRead, entry) for entry in rows], after


def _about(row: Recorded) -> ColumnElement[bool]:
    """Return the condition on the audit entries of a thing, and of the import that brought it."""
    thing_ids = [row.id, getattr(row, "import_id", None)]
    return col(AuditEntry.thing_id).in_([thing_id for thing_id in thing_ids if thing_id])


def newest_of_thing(
    db: Session, caller: Caller, table: type[Table], row_id: str, most: int
) -> list[AuditRead]:
    """Return the newest changes of one thing that the caller may see, oldest first."""
    row = resources.get_row(db, caller, table, row_id)
    rows = resources.newest(db, caller, AuditEntry, _about(row), most=most)
    return [resources.read(AuditRead, entry) for entry in reversed(rows)]


def page(db: Session, caller: Caller, query: AuditQuery) -> tuple[list[AuditRead], Rest]:
    """Return a page of the audit log, oldest first."""
    rows, after = pages.page(db, caller, AuditEntry, query)
    return [resources.read(AuditRead, entry) for entry in rows], after

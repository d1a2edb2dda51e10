"""Telling what was done: of one thing, or of a whole season."""

from sqlmodel import Session, col

from api.models.core.audit import AuditEntry, AuditQuery, AuditRead, HistoryQuery
from api.services.core import resources
from api.services.core.scope import Caller, Table


def of_thing(
    db: Session, caller: Caller, table: type[Table], row_id: str, query: HistoryQuery
) -> tuple[list[AuditRead], str | None]:
    """Return a page of what was done to one thing that the caller may see, oldest first."""
    row = resources.get_row(db, caller, table, row_id)
    named = [row.id, getattr(row, "import_id", None)]
    about = col(AuditEntry.thing_id).in_([each for each in named if each])
    rows, after = resources.page(db, caller, AuditEntry, query, about)
    return [resources.read(AuditRead, entry) for entry in rows], after


def page(db: Session, caller: Caller, query: AuditQuery) -> tuple[list[AuditRead], str | None]:
    """Return a page of the whole record, oldest first."""
    rows, after = resources.page(db, caller, AuditEntry, query)
    return [resources.read(AuditRead, entry) for entry in rows], after

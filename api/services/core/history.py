"""Read the audit log: the change history of one thing, or the complete log."""

from sqlmodel import Session, col

from api.models.core.audit import AuditEntry, AuditQuery, AuditRead, HistoryQuery
from api.services.core import resources
from api.services.core.scope import Caller, Table


def of_thing(
    db: Session, caller: Caller, table: type[Table], row_id: str, query: HistoryQuery
) -> tuple[list[AuditRead], str | None]:
    """Return a page of the change history of one thing that the caller may see, oldest first."""
    row = resources.get_row(db, caller, table, row_id)
    thing_ids = [row.id, getattr(row, "import_id", None)]
    about = col(AuditEntry.thing_id).in_([thing_id for thing_id in thing_ids if thing_id])
    rows, after = resources.page(db, caller, AuditEntry, query, about)
    return [resources.read(AuditRead, entry) for entry in rows], after


def page(db: Session, caller: Caller, query: AuditQuery) -> tuple[list[AuditRead], str | None]:
    """Return a page of the audit log, oldest first."""
    rows, after = resources.page(db, caller, AuditEntry, query)
    return [resources.read(AuditRead, entry) for entry in rows], after

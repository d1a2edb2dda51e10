"""Read stored imports: one with all its rows, or a list without them."""

from collections.abc import Iterator

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from api.models.imports.imports import (
    ImportBatch,
    ImportListed,
    ImportListQuery,
    ImportOrganisation,
    ImportRead,
)
from api.models.trials.trials import Trial
from api.services.core import pages, resources
from api.services.core.pages import Rest
from api.services.core.scope import Caller

#: What a list does not read: as many rows as the file had.
UNREAD = (ImportBatch.rows, ImportBatch.refused, ImportBatch.understood, ImportBatch.session_ids)


def get(db: Session, caller: Caller, import_id: str) -> ImportRead:
    """Return an import of this key; a lead may read all."""
    return resources.read(ImportRead, resources.get_row(db, caller, ImportBatch, import_id))


def page(db: Session, caller: Caller, query: ImportListQuery) -> tuple[list[ImportListed], Rest]:
    """Return a page of imports of this key; a lead may list all."""
    conditions = _conditions(query)
    rows, rest = pages.page(db, caller, ImportBatch, query, *conditions, unread=UNREAD)
    return [resources.read(ImportListed, row) for row in rows], rest


def _conditions(query: ImportListQuery) -> Iterator[ColumnElement[bool]]:
    if query.organisation_id is not None:
        of_school = col(ImportOrganisation.organisation_id) == query.organisation_id
        about = select(ImportOrganisation.import_id).where(of_school)
        yield col(ImportBatch.id).in_(about)
    if query.season_id is not None:
        of_season = select(Trial.import_id).where(col(Trial.season_id) == query.season_id)
        yield col(ImportBatch.id).in_(of_season)
    if query.undone is not None:
        is_undone = col(ImportBatch.undone_at).is_not(None)
        yield is_undone if query.undone else ~is_undone

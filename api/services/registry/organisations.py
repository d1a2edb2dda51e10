"""Organisations: register, list, change."""

from sqlmodel import Session, col, select

from api.errors import NotPermitted
from api.messages import say
from api.models.registry.organisations import (
    Organisation,
    OrganisationCreate,
    OrganisationQuery,
    OrganisationRead,
    OrganisationUpdate,
)
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Trial
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.measurements import rechecks


def create(db: Session, caller: Caller, organisation: OrganisationCreate) -> OrganisationRead:
    """Register an organisation."""
    return resources.read(OrganisationRead, resources.store(db, caller, Organisation, organisation))


def get(db: Session, caller: Caller, organisation_id: str) -> OrganisationRead:
    """Return an organisation."""
    row = resources.get_row(db, caller, Organisation, organisation_id)
    return resources.read(OrganisationRead, row)


def page(
    db: Session, caller: Caller, query: OrganisationQuery
) -> tuple[list[OrganisationRead], Rest]:
    """Return a page of organisations."""
    rows, after = pages.page(db, caller, Organisation, query)
    return [resources.read(OrganisationRead, row) for row in rows], after


def change(
    db: Session, caller: Caller, organisation_id: str, changes: OrganisationUpdate, version: int
) -> OrganisationRead:
    """Change an organisation; its altitude changes the air density of rooms without a barometer."""
    row = resources.get_row(db, caller, Organisation, organisation_id)
    require_owner(caller, row.id)
    if "name" in changes.model_fields_set and not caller.reaches_all:
        # Names are unique among all schools; a coach must not learn other names by trying.
        raise NotPermitted(say("refused.lead_renames"))
    revisions.raise_all(db)
    resources.change(db, caller, row, changes, version)
    rooms = select(BenchSession.id).where(col(BenchSession.organisation_id) == row.id)
    rechecks.recheck(db, col(Trial.session_id).in_(rooms))
    return resources.read(OrganisationRead, row)

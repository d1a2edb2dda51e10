"""Which rows of each table are a school's own, over all seasons."""

from sqlalchemy import ColumnElement, or_
from sqlmodel import col, select

from api.models.core.audit import AuditEntry
from api.models.events.inspections import Inspection
from api.models.events.runs import EventRun
from api.models.measurements.flags import Flag
from api.models.registry.benches import Bench, WindGrid
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.loans import InstrumentCheck, Loan
from api.models.registry.organisations import Organisation
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Run, Trial
from api.services.operations.season_tables import Rows


def whole_school(organisation_id: str) -> Rows:
    """Return the tables of a school in the order they point at each other, with their condition."""
    owned = (Team, Equipment, InstrumentCheck, Turbine, Build, Bench, WindGrid, BenchSession,
             Trial, Flag, Inspection, EventRun, AuditEntry)  # fmt: skip
    trials = select(Trial.id).where(col(Trial.organisation_id) == organisation_id)
    return [
        (Organisation, col(Organisation.id) == organisation_id),
        *((table, col(table.organisation_id) == organisation_id) for table in owned),
        (Loan, lent_or_borrowed(organisation_id)),
        (Run, col(Run.trial_id).in_(trials)),
    ]


def lent_or_borrowed(organisation_id: str) -> ColumnElement[bool]:
    """Return the condition on loans that a school is one side of."""
    return or_(col(Loan.organisation_id) == organisation_id, col(Loan.owner_id) == organisation_id)

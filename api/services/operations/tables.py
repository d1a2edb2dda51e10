"""Select the rows of each table that belong to a season, or to a school in all seasons."""

from collections.abc import Iterator
from typing import Any

from sqlalchemy import ColumnElement, or_
from sqlmodel import Session, SQLModel, col, select

from api.models.core.audit import AuditChain, AuditEntry
from api.models.events.inspections import Inspection
from api.models.events.runs import EventRun, RunOrder
from api.models.measurements.flags import Flag
from api.models.measurements.sweeps import WindSweep
from api.models.registry.benches import Bench, WindGrid
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.events import Event
from api.models.registry.loans import InstrumentCheck, Loan
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.reporting.shares import Share
from api.models.trials.trials import Run, Trial

#: Tables, each with the condition on its rows.
Rows = list[tuple[type[SQLModel], ColumnElement[bool]]]


def season_tables(season_id: str) -> Rows:
    """Return the tables of a season with conditions, in the order of their foreign keys.

    They include all equipment and benches of the schools that take part, and those of the
    programme. Keys and imports are left out: they belong to the programme that made them.
    """
    teams = select(Team.id).where(col(Team.season_id) == season_id)
    sessions = select(BenchSession.id).where(col(BenchSession.season_id) == season_id)
    trials = select(Trial.id).where(col(Trial.season_id) == season_id)
    schools = _schools(season_id)
    turbines = select(Turbine.id).where(
        or_(col(Turbine.team_id).in_(teams), col(Turbine.team_id).is_(None))
    )
    equipment = select(Equipment.id).where(_owned(Equipment, schools))
    benches = select(Bench.id).where(col(Bench.organisation_id).in_(schools))
    return [
        (Season, col(Season.id) == season_id),
        (Organisation, col(Organisation.id).in_(schools)),
        (Team, col(Team.id).in_(teams)),
        (Equipment, col(Equipment.id).in_(equipment)),
        (Loan, col(Loan.equipment_id).in_(equipment) & col(Loan.organisation_id).in_(schools)),
        (InstrumentCheck, col(InstrumentCheck.equipment_id).in_(equipment)),
        (Turbine, col(Turbine.id).in_(turbines)),
        (Build, col(Build.turbine_id).in_(turbines)),
        (Bench, col(Bench.id).in_(benches)),
        (WindGrid, col(WindGrid.bench_id).in_(benches)),
        (BenchSession, col(BenchSession.id).in_(sessions)),
        (Trial, col(Trial.id).in_(trials)),
        (Run, col(Run.trial_id).in_(trials)),
        (Flag, col(Flag.season_id) == season_id),
        (Event, col(Event.season_id) == season_id),
        (Inspection, col(Inspection.season_id) == season_id),
        (RunOrder, col(RunOrder.season_id) == season_id),
        (EventRun, col(EventRun.season_id) == season_id),
        (AuditEntry, col(AuditEntry.chain) == season_id),
        (AuditChain, col(AuditChain.chain) == season_id),
    ]


def tables_of_one_season(season_id: str) -> Rows:
    """Return the tables of rows that belong only to one season, in the order of foreign keys."""
    teams = select(Team.id).where(col(Team.season_id) == season_id)
    turbines = select(Turbine.id).where(col(Turbine.team_id).in_(teams))
    trials = select(Trial.id).where(col(Trial.season_id) == season_id)
    scoped = (Team, BenchSession, Event, RunOrder, Inspection, Share, Trial, Flag, EventRun,
              WindSweep)  # fmt: skip
    with_season: Rows = [(table, col(table.season_id) == season_id) for table in scoped]
    team, *others = with_season
    return [
        (Season, col(Season.id) == season_id),
        team,
        (Turbine, col(Turbine.id).in_(turbines)),
        (Build, col(Build.turbine_id).in_(turbines)),
        *others,
        (Run, col(Run.trial_id).in_(trials)),
    ]


def _schools(season_id: str) -> Any:
    """Return the schools with a team or a session in a season."""
    with_team = select(Team.organisation_id).where(col(Team.season_id) == season_id)
    with_bench = select(BenchSession.organisation_id).where(
        col(BenchSession.season_id) == season_id
    )
    return with_team.union(with_bench)


def _owned(table: Any, schools: Any) -> ColumnElement[bool]:
    owner = col(table.organisation_id)
    return or_(owner.in_(schools), owner.is_(None))


def rows_of(
    db: Session, table: type[SQLModel], condition: ColumnElement[bool]
) -> Iterator[dict[str, Any]]:
    """Yield rows as JSON values, in the order of their keys, without references to imports."""
    key = [col(getattr(table, column.name)) for column in table.__table__.primary_key]  # type: ignore[attr-defined]  # SQLModel hides it
    for row in db.scalars(select(table).where(condition).order_by(*key)):
        fields = row.model_dump(mode="json")
        if table is Trial:
            fields["import_id"] = None
        yield fields


def school_tables(organisation_id: str) -> Rows:
    """Return the tables of a school with conditions, in the order of their foreign keys."""
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
    """Return the condition on loans that a school lends or borrows."""
    return or_(col(Loan.organisation_id) == organisation_id, col(Loan.owner_id) == organisation_id)

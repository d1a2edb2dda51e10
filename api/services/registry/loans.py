"""Lend equipment, take it back, and list the loans."""

from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlmodel import Session, col, select

from api.errors import Conflict, FieldError, Invalid, NotFound
from api.messages import say
from api.models.core.shapes import ListQuery
from api.models.registry.equipment import Equipment
from api.models.registry.loans import Loan, LoanCreate, LoanQuery, LoanRead, Returning
from api.models.registry.organisations import Organisation
from api.services.core import pages, resources
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.registry import reference_rotors


def today() -> date:
    """Return today (UTC), which decides whether a loan is overdue."""
    return datetime.now(UTC).date()


def require_not_ahead(day: date, field: str) -> None:
    """Refuse a day in the future; tomorrow is allowed, for time zones ahead of UTC."""
    if day > today() + timedelta(days=1):
        words = say("refused.in_future", day=day)
        raise Invalid(words, [FieldError("in_future", words, pointer=f"/{field}")])


def lend(db: Session, caller: Caller, equipment_id: str, loan: LoanCreate) -> LoanRead:
    """Lend a piece of equipment that is at home and not retired."""
    item = resources.get_row(db, caller, Equipment, equipment_id)
    require_owner(caller, item.organisation_id)
    resources.get_row(db, caller, Organisation, loan.organisation_id, "organisation_id")
    resources.lock(db, item)
    if item.retired_on is not None:
        raise Conflict(say("refused.is_retired", tag=item.tag, day=item.retired_on))
    running = _running(db, item.id)
    if running is not None:
        raise Conflict(say("refused.is_lent", tag=item.tag, day=running.due_on))
    row = resources.store(
        db, caller, Loan, loan, equipment_id=item.id, owner_id=item.organisation_id
    )
    return _reads(db, [row])[0]


def _running(db: Session, equipment_id: str) -> Loan | None:
    of_equipment = col(Loan.equipment_id) == equipment_id
    return db.scalars(
        select(Loan).where(of_equipment, col(Loan.returned_on).is_(None))
    ).one_or_none()


def take_back(
    db: Session, caller: Caller, equipment_id: str, loan_id: str, returning: Returning
) -> LoanRead:
    """Take a piece of equipment back; a broken reference rotor is retired."""
    item = resources.get_row(db, caller, Equipment, equipment_id)
    require_owner(caller, item.organisation_id)
    row = resources.get_row(db, caller, Loan, loan_id)
    if row.equipment_id != item.id:
        raise NotFound(say("refused.loan_of_other", id=loan_id))
    require_not_ahead(returning.returned_on, "returned_on")
    resources.lock(db, item)
    resources.lock(db, row)
    if row.returned_on is not None:
        raise Conflict(say("refused.is_back", tag=item.tag, day=row.returned_on))
    if returning.returned_on < row.lent_on:
        words = say("refused.back_before_lent", day=row.lent_on)
        raise Invalid(words, [FieldError("before_lent", words, pointer="/returned_on")])
    resources.change(db, caller, row, returning, row.version)
    reference_rotors.note_condition(db, caller, item, returning.condition_in, returning.returned_on)
    return _reads(db, [row])[0]


def page(db: Session, caller: Caller, query: LoanQuery) -> tuple[list[LoanRead], Rest]:
    """Return a page of loans: all, open, overdue or returned."""
    returned = col(Loan.returned_on)
    conditions: dict[str | None, list[Any]] = {
        None: [],
        "open": [returned.is_(None)],
        "overdue": [returned.is_(None), col(Loan.due_on) < today()],
        "returned": [returned.is_not(None)],
    }
    rows, after = pages.page(db, caller, Loan, query, *conditions[query.state])
    return _reads(db, rows), after


def of_item(
    db: Session, caller: Caller, equipment_id: str, query: ListQuery
) -> tuple[list[LoanRead], Rest]:
    """Return a page of the loans of one piece of equipment."""
    item = resources.get_row(db, caller, Equipment, equipment_id)
    rows, after = pages.page(db, caller, Loan, query, col(Loan.equipment_id) == item.id)
    return _reads(db, rows), after


def where_lent(db: Session, equipment_ids: list[str]) -> dict[str, Loan]:
    """Return the running loan of each piece of equipment that is lent."""
    out = select(Loan).where(
        col(Loan.equipment_id).in_(equipment_ids), col(Loan.returned_on).is_(None)
    )
    return {loan.equipment_id: loan for loan in db.scalars(out)}


def days_overdue(loan: Loan) -> int:
    """Return the days that a loan is overdue; 0 if it is not late or was returned."""
    return 0 if loan.returned_on else max(0, (today() - loan.due_on).days)


def _reads(db: Session, rows: list[Loan]) -> list[LoanRead]:
    ids = {row.equipment_id for row in rows}
    named = select(col(Equipment.id), col(Equipment.tag)).where(col(Equipment.id).in_(ids))
    tags = dict(db.execute(named).all())
    return [
        resources.read(LoanRead, row, tag=tags[row.equipment_id], days_overdue=days_overdue(row))
        for row in rows
    ]

"""Equipment: register, list, change."""

from collections.abc import Sequence
from typing import Any

from pydantic import ValidationError
from sqlmodel import Session

from api.errors import FieldError, Invalid
from api.messages import say
from api.models.core.shapes import AsTyped
from api.models.core.validation import invalid
from api.models.registry.equipment import (
    SPECS,
    Equipment,
    EquipmentCreate,
    EquipmentQuery,
    EquipmentRead,
    EquipmentUpdate,
)
from api.models.registry.loans import Loan
from api.models.registry.organisations import Organisation
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.measurements import rechecks
from api.services.registry import loans, reference_rotors


def create(db: Session, caller: Caller, equipment: EquipmentCreate) -> EquipmentRead:
    """Register a piece of equipment."""
    if equipment.organisation_id is not None:
        resources.get_row(db, caller, Organisation, equipment.organisation_id, "organisation_id")
    require_owner(caller, equipment.organisation_id)
    spec, typed = _checked_spec(equipment.kind, equipment.spec)
    row = resources.store(db, caller, Equipment, equipment, spec=spec, as_typed=typed)
    return reads(db, caller, [row])[0]


def _checked_spec(kind: str, spec: dict[str, Any]) -> tuple[dict[str, Any], AsTyped]:
    """Return a data sheet's values in SI and as typed; refuse fields its kind does not have."""
    try:
        checked = SPECS[kind].model_validate(spec)
    except ValidationError as error:
        raise invalid(error, {"spec": spec}, prefix=("spec",)) from error
    typed = {f"spec.{name}": value for name, value in checked.typed().items()}
    return checked.model_dump(mode="json", exclude_unset=True, by_alias=True), typed


def get(db: Session, caller: Caller, equipment_id: str) -> EquipmentRead:
    """Return a piece of equipment."""
    return reads(db, caller, [resources.get_row(db, caller, Equipment, equipment_id)])[0]


def reads(db: Session, caller: Caller, rows: Sequence[Equipment]) -> list[EquipmentRead]:
    """Return pieces of equipment, each with its loan and its holder.

    A school that the caller does not reach is not named as a borrower.
    """
    lent = loans.where_lent(db, [row.id for row in rows])
    return [_read(caller, row, lent.get(row.id)) for row in rows]


def _read(caller: Caller, row: Equipment, loan: Loan | None) -> EquipmentRead:
    holder = loan.organisation_id if loan else row.organisation_id
    return resources.read(
        EquipmentRead,
        row,
        is_lent=loan is not None,
        holder_id=holder if loan is None or caller.reaches(holder) else None,
        due_on=loan.due_on if loan else None,
        days_overdue=loans.days_overdue(loan) if loan else 0,
    )


def page(db: Session, caller: Caller, query: EquipmentQuery) -> tuple[list[EquipmentRead], Rest]:
    """Return a page of equipment."""
    rows, after = pages.page(db, caller, Equipment, query)
    return reads(db, caller, rows), after


def change(
    db: Session, caller: Caller, equipment_id: str, changes: EquipmentUpdate, version: int
) -> EquipmentRead:
    """Change a piece of equipment; results that depend on its data sheet change with it."""
    row = resources.get_row(db, caller, Equipment, equipment_id)
    require_owner(caller, row.organisation_id)
    spec, typed = row.spec, row.as_typed
    if "spec" in changes.model_fields_set:
        spec, typed = _checked_spec(row.kind, changes.model_dump()["spec"])
    revisions.raise_all(db)
    resources.change(db, caller, row, changes, version, spec=spec)
    row.as_typed = typed
    reference_rotors.note_condition(db, caller, row, row.condition, loans.today())
    rechecks.recheck(db, *rechecks.depending_on(row.id))
    return reads(db, caller, [row])[0]


def require_kind(
    db: Session, caller: Caller, equipment_id: str | None, kind: str, field: str
) -> None:
    """Refuse a reference to equipment that does not exist or has another kind."""
    if equipment_id is None:
        return
    row = resources.get_row(db, caller, Equipment, equipment_id, field)
    if row.kind != kind:
        words = say("refused.wrong_kind", tag=row.tag, kind=row.kind, needed=kind)
        raise Invalid(words, [FieldError("wrong_kind", words, pointer=f"/{field}")])

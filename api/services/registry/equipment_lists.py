"""Read the equipment list, in a fixed number of queries."""

from datetime import UTC, datetime

from sqlmodel import Session, col, select

from api.messages import say
from api.models.registry.equipment import Equipment, EquipmentRead
from api.models.registry.equipment_list import EquipmentList, ListedItem
from api.models.registry.loans import InstrumentCheck
from api.models.registry.organisations import Organisation
from api.services.core.scope import Caller, visible
from api.services.registry import equipment, instruments


def equipment_list(db: Session, caller: Caller, organisation_id: str | None) -> EquipmentList:
    """Return the equipment that a caller may see; only that owned or held by a school if given."""
    rows = list(db.scalars(visible(caller, Equipment).order_by(col(Equipment.tag))))
    reads = equipment.reads(db, caller, rows)
    if organisation_id is not None:
        reads = [
            each for each in reads if organisation_id in (each.organisation_id, each.holder_id)
        ]
    names = dict(db.execute(select(col(Organisation.id), col(Organisation.name))).all())
    checks = _newest_checks(db, [each.id for each in reads])
    items = [_item(each, names, checks.get(each.id)) for each in reads]
    return EquipmentList(
        as_of=datetime.now(UTC),
        items=items,
        lent=sum(each.is_lent for each in reads),
        overdue=sum(each.days_overdue > 0 for each in reads),
    )


def _newest_checks(db: Session, equipment_ids: list[str]) -> dict[str, InstrumentCheck]:
    newest = (
        select(InstrumentCheck)
        .where(col(InstrumentCheck.equipment_id).in_(equipment_ids))
        .order_by(col(InstrumentCheck.checked_on), col(InstrumentCheck.id))
    )
    return {row.equipment_id: row for row in db.scalars(newest)}


def _item(read: EquipmentRead, names: dict[str, str], check: InstrumentCheck | None) -> ListedItem:
    owner, holder = (
        names.get(each or "") or say("listed.programme")
        for each in (read.organisation_id, read.holder_id)
    )
    is_hidden = read.is_lent and read.holder_id is None
    return ListedItem(
        equipment_id=read.id,
        tag=read.tag,
        kind=read.kind,
        owner=owner,
        where=say("listed.another_school") if is_hidden else holder,
        due_on=read.due_on,
        days_overdue=read.days_overdue,
        condition=read.condition,
        retired_on=read.retired_on,
        spares=read.spares,
        checked=_checked(read, check),
    )


def _checked(read: EquipmentRead, check: InstrumentCheck | None) -> str:
    if check is not None:
        ratio = instruments.ratio_of(check)
        key = f"listed.checked_{ratio.verdict}"
        return say(key, day=check.checked_on, ratio=ratio.ratio)
    return str(read.spec.get("checked_on") or "–")

"""The equipment list: what there is, where it is, in what condition, and what is overdue."""

from api.models.registry.equipment_list import EquipmentList, ListedItem
from api.services.reporting.documents.blocks import Builder, Document, Heading, Items, Table, Text
from api.services.reporting.documents.words import counted, day


def equipment_document(listed: EquipmentList) -> Document:
    """Return the equipment list with what is overdue first."""
    made = Builder()
    if listed.overdue:
        made.add(Heading("Overdue"))
        made.add(Items([_late(item) for item in listed.items if item.days_overdue]))
    made.add(Heading("All equipment"))
    if listed.items:
        columns = ("Tag", "Kind", "Whose", "Where it is", "Condition", "Spares", "Last checked")
        links = [f"/equipment/{item.equipment_id}" for item in listed.items]
        made.add(Table(columns, [_row(item) for item in listed.items], links=links))
    else:
        made.add(Text("Nothing is registered yet: register fans, meters and loads first."))
    subtitle = (
        f"Equipment list, as of {day(listed.as_of)}. {counted(len(listed.items), 'item')}, "
        f"{listed.lent} lent, {listed.overdue} overdue."
    )
    return Document("Equipment", subtitle, listed.as_of, made.blocks, name="equipment-list")


def _late(item: ListedItem) -> str:
    return f"{item.tag}, with {item.where}: {counted(item.days_overdue, 'day')} late."


def _row(item: ListedItem) -> tuple[str, ...]:
    due = f"\ndue {day(item.due_on)}" if item.due_on else ""
    state = item.condition + (f"\nretired {day(item.retired_on)}" if item.retired_on else "")
    return (
        item.tag,
        item.kind.replace("_", " "),
        item.owner,
        item.where + due,
        state,
        str(item.spares),
        item.checked,
    )

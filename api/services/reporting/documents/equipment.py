"""Make the document of the equipment list: items, places, conditions, and overdue loans."""

from api.messages import say
from api.models.registry.equipment_list import EquipmentList, ListedItem
from api.services.reporting.documents.blocks import Builder, Document, Heading, Items, Table, Text
from api.services.reporting.documents.words import day


def equipment_document(listed: EquipmentList) -> Document:
    """Return the equipment list, overdue items first."""
    builder = Builder()
    if listed.overdue:
        builder.add(Heading(say("report_equipment.overdue")))
        builder.add(Items([_late(item) for item in listed.items if item.days_overdue]))
    builder.add(Heading(say("report_equipment.all")))
    if listed.items:
        links = [f"/equipment/{item.equipment_id}" for item in listed.items]
        rows = [_row(item) for item in listed.items]
        dull = ("–", "0", say("condition.good"))
        builder.add(Table(_columns(), rows, links=links, dull=dull))
    else:
        builder.add(Text(say("report_equipment.nothing")))
    subtitle = say(
        "report_equipment.subtitle",
        day=day(listed.as_of),
        count=len(listed.items),
        lent=listed.lent,
        overdue=listed.overdue,
    )
    title = say("nav.equipment")
    return Document(title, subtitle, listed.as_of, builder.blocks, name="equipment-list")


def _columns() -> tuple[str, ...]:
    return (
        say("report_equipment.tag"),
        say("report_equipment.kind"),
        say("report_equipment.owner"),
        say("report_equipment.where"),
        say("field.condition"),
        say("report_equipment.spares"),
        say("report_equipment.checked"),
    )


def _late(item: ListedItem) -> str:
    return say("report_equipment.late", tag=item.tag, where=item.where, count=item.days_overdue)


def _row(item: ListedItem) -> tuple[str, ...]:
    due = [say("item.due", day=day(item.due_on))] if item.due_on else []
    retired = [say("report_equipment.retired", day=day(item.retired_on))] if item.retired_on else []
    return (
        item.tag,
        say(f"report_kind.{item.kind}"),
        item.owner,
        "\n".join([item.where, *due]),
        "\n".join([say(f"condition.{item.condition}"), *retired]),
        str(item.spares),
        item.checked,
    )

"""What a person chose about a sheet, where its own text does not say enough."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from api.errors import FieldError, Invalid
from api.messages import say
from api.services.imports.headers import COLUMNS
from api.services.imports.layout.days import Order

#: Choices for a column besides the columns of the template.
NOT_READ = "not_read"
#: What marks the meaning of a title as chosen.
CHOSEN = "chosen"
#: Columns that a person may give once for all rows.
SAME_FOR_ALL = ("organisation", "team", "turbine", "build", "bench", "session_started_at",
                "time_of_day", "kind",
                "pitch_deg", "load_ohm", "load_connected", "wind_speed_m_s", "adult_present",
                "meter_range_v")  # fmt: skip
ORDERS: tuple[Order, ...] = ("day_first", "month_first")


@dataclass(frozen=True, slots=True)
class Choices:
    """The column of each title, values that are the same in all rows, the table, and the order.

    `columns` has a column of the template, or `not_read`, by title; `table` is the row of a table's
    titles, `sheet` the name of a sheet of a workbook.
    """

    columns: Mapping[str, str] = field(default_factory=dict)
    same: Mapping[str, str] = field(default_factory=dict)
    table: str = ""
    sheet: str = ""
    order: Order | None = None

    def as_json(self) -> dict[str, Any]:
        """Return what may be remembered for the next sheet with the same titles.

        Values of all rows are not: the next sheet may be of another team, bench or day, and each
        states again that an adult was present.
        """
        facts = {"columns": dict(self.columns), "order": self.order}
        return {name: value for name, value in facts.items() if value}


def from_json(facts: Mapping[str, Any]) -> Choices:
    """Return choices that were remembered."""
    return Choices(facts.get("columns", {}), order=facts.get("order"))


def read_choices(text: str | None) -> Choices:
    """Return the choices in a JSON object; refuse what no sheet has."""
    if not text:
        return Choices()
    try:
        typed = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise _refused(say("import_layout.no_json")) from error
    if not isinstance(typed, dict) or typed.keys() - {"columns", "same", "table", "sheet", "order"}:
        raise _refused(say("import_layout.unknown_choice"))
    columns, same = (_texts(typed.get(name, {})) for name in ("columns", "same"))
    for column in columns.values():
        if column not in (*COLUMNS, NOT_READ):
            raise _refused(say("import_layout.no_column", name=column))
    for column in same:
        if column not in SAME_FOR_ALL:
            raise _refused(say("import_layout.no_column", name=column))
    order = typed.get("order")
    if order not in (None, *ORDERS):
        raise _refused(say("import_layout.no_order"))
    return Choices(
        columns, same, str(typed.get("table") or ""), str(typed.get("sheet") or ""), order
    )


def _texts(typed: Any) -> dict[str, str]:
    if not isinstance(typed, dict):
        raise _refused(say("import_layout.unknown_choice"))
    return {str(name): str(value) for name, value in typed.items() if value not in (None, "")}


def _refused(words: str) -> Invalid:
    return Invalid(words, [FieldError("mapping", words, pointer="/mapping")])

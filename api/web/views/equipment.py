"""Pages of equipment: the list, lending, returning, and comparing instruments."""

from datetime import UTC, datetime, timedelta
from functools import partial
from types import SimpleNamespace
from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.messages import say
from api.models.core.shapes import ListQuery
from api.models.registry.builds import Build
from api.models.registry.equipment import SPECS, Equipment, EquipmentRead
from api.models.registry.loans import CheckCreate, LoanCreate, Returning
from api.models.registry.organisations import Organisation
from api.models.registry.turbines import Turbine
from api.services.core import pages
from api.services.core.scope import Caller
from api.services.registry import equipment, equipment_lists, instruments, loans, pickers
from api.services.reporting.documents.equipment import equipment_document
from api.web import forms, rendering
from api.web.descriptions import history_of
from api.web.forms import Field, Filled
from api.web.registration.fields import CONDITIONS, SPEC
from api.web.submitting import sound, tried
from api.web.visitors import Posted, Visit, Visited

router = APIRouter()
PAIRS = 3
LOAN = (
    Field("organisation_id", "choice", required=True),
    Field("lent_on", "day", required=True),
    Field("due_on", "day", required=True),
    Field("condition_out", "choice", required=True, choices=CONDITIONS),
    Field("spares_out", "whole"),
    Field("signed_by", "text"),
)
RETURN = (
    Field("returned_on", "day", required=True),
    Field("condition_in", "choice", required=True, choices=CONDITIONS),
    Field("spares_in", "whole"),
)
CHECK = (
    Field("checked_on", "day", required=True),
    Field("against_id", "choice"),
    *(Field(f"{side}_{at}") for at in range(1, PAIRS + 1) for side in ("reading", "reference")),
)
ItemId = Annotated[str, Path()]
LoanId = Annotated[str, Path()]


@router.get("/equipment")
def equipment_page(visited: Visited) -> Response:
    """Show all equipment within reach, overdue items first."""
    with visited.reading() as db:
        listed = equipment_lists.equipment_list(db, visited.caller, None)
        schools = pickers.organisations(db, visited.caller)
        rotors = db.execute(
            select(Turbine, Build)
            .join(Build, col(Build.turbine_id) == col(Turbine.id))
            .where(col(Turbine.team_id).is_(None))
            .order_by(col(Turbine.name), col(Build.number))
        ).all()
    return rendering.show(
        "equipment.html",
        visited,
        document=equipment_document(listed),
        kinds=tuple(SPECS),
        schools=schools,
        rotors=[tuple(row) for row in rotors],
        as_of=listed.as_of,
        left_out=[say("equipment.left_out")],
    )


@router.get("/equipment/{equipment_id}")
def item_page(equipment_id: ItemId, visited: Visited) -> Response:
    """Show one item: its data sheet, its loans and its comparisons."""
    return _item(visited, equipment_id, Filled([]))


def _item(visited: Visit, equipment_id: str, wrong: Filled) -> Response:
    with visited.reading() as db:
        item = equipment.get(db, visited.caller, equipment_id)
        lent, checks = (
            pages.every(partial(page, db, visited.caller, equipment_id), ListQuery())
            for page in (loans.of_item, instruments.page)
        )
        schools = pickers.organisations(db, visited.caller)
        done = history_of(db, visited, Equipment, equipment_id)
        others = pickers.equipment(db, visited.caller, item.kind, item.organisation_id)
        names = dict(db.execute(select(col(Organisation.id), col(Organisation.name))).all())
    today = datetime.now(UTC).date()
    suggested = {
        "lent_on": f"{today}", "due_on": f"{today + timedelta(days=28)}", "condition_out": "good",
        "returned_on": f"{today}", "condition_in": "good", "checked_on": f"{today}",
    }  # fmt: skip

    def form(fields: tuple[Field, ...], **choices: Any) -> Filled:
        offered = forms.offering(fields, choices)
        if [each.name for each in wrong.fields] == [each.name for each in fields]:
            return Filled(offered, wrong.typed, wrong.faults, wrong.other)
        return Filled(offered, suggested)

    return rendering.show(
        "item.html",
        visited,
        status=422 if wrong.is_wrong else 200,
        item=item,
        names=names,
        history=done,
        facts=_facts(item),
        loans=lent[::-1],
        checks=checks[::-1],
        pairs=range(1, PAIRS + 1),
        loan=form(LOAN, organisation_id=schools),
        back=form(RETURN),
        check=form(CHECK, against_id=[pair for pair in others if pair[0] != item.id]),
        open_loan=next((each for each in lent if each.returned_on is None), None),
    )


def _facts(item: EquipmentRead) -> list[tuple[str, str]]:
    """Return the facts of a data sheet, with units."""
    asked = SPEC.get(item.kind, ())
    shown = forms.shown(asked, SimpleNamespace(**item.spec))
    return [
        (each.label, dict(each.choices).get(shown[each.name], shown[each.name]))
        for each in asked
        if shown[each.name]
    ]


@router.post("/equipment/{equipment_id}/lend")
def lend(equipment_id: ItemId, posted: Posted) -> Response:
    """Lend a piece to a school, until a day."""
    filled, values = forms.read(LOAN, posted.typed())

    def work(db: Session, caller: Caller) -> str:
        loans.lend(db, caller, equipment_id, sound(LoanCreate, filled, values))
        return f"/equipment/{equipment_id}"

    return tried(posted, filled, work) or _item(posted.visit, equipment_id, filled)


@router.post("/equipment/{equipment_id}/loans/{loan_id}/return")
def take_back(equipment_id: ItemId, loan_id: LoanId, posted: Posted) -> Response:
    """Take a piece back, in the condition it is in."""
    filled, values = forms.read(RETURN, posted.typed())

    def work(db: Session, caller: Caller) -> str:
        loans.take_back(db, caller, equipment_id, loan_id, sound(Returning, filled, values))
        return f"/equipment/{equipment_id}"

    return tried(posted, filled, work) or _item(posted.visit, equipment_id, filled)


@router.post("/equipment/{equipment_id}/check")
def check(equipment_id: ItemId, posted: Posted) -> Response:
    """Compare an instrument with another, in pairs of readings."""
    filled, values = forms.read(CHECK, posted.typed())
    pairs = [
        {"reading": values.pop(f"reading_{at}"), "reference": values.pop(f"reference_{at}")}
        for at in range(1, PAIRS + 1)
        if f"reading_{at}" in values and f"reference_{at}" in values
    ]
    halves = [name for name in values if name.startswith(("reading_", "reference_"))]
    filled.faults |= dict.fromkeys(halves, say("equipment.half_a_pair"))
    values["pairs"] = pairs

    def work(db: Session, caller: Caller) -> str:
        instruments.check(db, caller, equipment_id, sound(CheckCreate, filled, values))
        return f"/equipment/{equipment_id}"

    return tried(posted, filled, work) or _item(posted.visit, equipment_id, filled)

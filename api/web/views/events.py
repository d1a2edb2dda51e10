"""Pages of events: readiness, run order, forecast, and inspections."""

from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.errors import NotFound
from api.messages import say
from api.messages.numbers import localised
from api.models.events.inspections import EventReadiness, InspectionCreate, TeamReadiness
from api.models.events.runs import Drawing
from api.models.registry.builds import Build
from api.models.registry.events import Event
from api.models.registry.rule_sets import Rule
from api.models.registry.seasons import Season
from api.models.reporting.team_sheet import EventSheetRead
from api.services.core import cautions, resources
from api.services.core.scope import Caller
from api.services.events import inspections, readiness, run_orders
from api.services.events.board import read_board
from api.services.registry import rule_sets
from api.services.reporting import report_subjects
from api.services.reporting.documents.event import event_document
from api.web import forms, rendering
from api.web.forms import Field, Filled
from api.web.submitting import sound, tried
from api.web.visitors import Posted, PostedByLead, Visit, Visited

router = APIRouter()
INSPECTOR = Field("inspector", "text", required=True)
DRAWING = (Field("seed", "whole"), Field("attempts", "whole"))
OUTCOMES = ("pass", "fail", "not_shown")
EventId = Annotated[str, Path()]
BuildId = Annotated[str, Path()]


@router.get("/events")
def events_page(visited: Visited) -> Response:
    """Show all events, the latest first."""
    with visited.reading() as db:
        rows = db.execute(
            select(Event, Season.name)
            .join(Season, col(Season.id) == col(Event.season_id))
            .order_by(col(Event.held_on).desc(), col(Event.id))
            .limit(200)
        ).all()
    return rendering.show("events.html", visited, events=[tuple(row) for row in rows])


@router.get("/events/{event_id}")
def event_page(event_id: EventId, visited: Visited) -> Response:
    """Show an event's readiness, run order, forecast and results."""
    return _event(visited, event_id, Filled(DRAWING))


def _event(visited: Visit, event_id: str, filled: Filled) -> Response:
    with visited.reading() as db:
        sheet = report_subjects.event_sheet(db, visited.caller, event_id)
        event = resources.get_row(db, visited.caller, Event, event_id)
    return rendering.show(
        "event.html", visited, status=422 if filled.is_wrong else 200, event=event, filled=filled,
        document=event_document(sheet), answer=_answer(sheet),
        slots=sheet.run_order.slots if sheet.run_order else (),
        stored={run.position for run in sheet.results.runs}, as_of=sheet.readiness.as_of,
        left_out=[say("event.others_left_out")],
    )  # fmt: skip


def _answer(sheet: EventSheetRead) -> str:
    """Return what people open an event's page for: who won, or before it how many are ready."""
    if sheet.results.runs:
        return _first(sheet)
    ready = sheet.readiness
    if ready.reason or not ready.teams:
        return ready.reason or ""
    done = sum(team.status == "ready" for team in ready.teams)
    return say("event.ready", part=done, all=len(ready.teams))


def _first(sheet: EventSheetRead) -> str:
    """Return who won, or who leads while runs are missing; another sentence if nobody may say."""
    results, planned = sheet.results, sheet.run_order.slots if sheet.run_order else []
    if not results.places or results.places[0].best_w is None:
        return results.sentence
    stored = {run.position for run in results.runs}
    is_finished = all(slot.position in stored for slot in planned)
    power = localised(1000 * results.places[0].best_w, ".1f")
    first = say("event.won" if is_finished else "event.leads", power=power,
                name=results.places[0].team_name)  # fmt: skip
    return f"{first} {results.sentence}"


@router.get("/events/{event_id}/board")
def event_board(event_id: EventId, visited: Visited) -> Response:
    """Show the board of an event for a projector, which keeps itself up to date."""
    with visited.reading() as db:
        board = read_board(db, visited.caller, event_id)
        zone = resources.get_row(db, visited.caller, Season, board.event.season_id).timezone
    return rendering.show("board.html", visited, board=board, zone=zone)


@router.post("/events/{event_id}/draw")
def draw(event_id: EventId, posted: PostedByLead) -> Response:
    """Draw the order of runs again; it replaces the earlier one."""
    filled, values = forms.read(DRAWING, posted.typed())

    def work(db: Session, caller: Caller) -> str:
        run_orders.draw(db, caller, event_id, sound(Drawing, filled, values))
        return f"/events/{event_id}"

    return tried(posted, filled, work) or _event(posted.visit, event_id, filled)


@router.get("/events/{event_id}/builds/{build_id}")
def inspection(event_id: EventId, build_id: BuildId, visited: Visited) -> Response:
    """Show the checks of a build, to be ticked off."""
    return _inspection(visited, event_id, build_id, Filled([INSPECTOR]))


def _inspection(visited: Visit, event_id: str, build_id: str, filled: Filled) -> Response:
    with visited.reading() as db:
        build = resources.get_row(db, visited.caller, Build, build_id)
        ready = readiness.event_readiness(db, visited.caller, event_id)
        team = _of_build(ready, build)
        rules = _rules(db, visited.caller, event_id)
    return rendering.show(
        "inspection.html", visited, status=422 if filled.is_wrong else 200, ready=ready, team=team,
        build=build, filled=filled, outcomes=OUTCOMES, cautions=cautions.event(), as_of=ready.as_of,
        checks=[(check, rules[check.id]) for check in team.checks],
    )  # fmt: skip


def _of_build(ready: EventReadiness, build: Build) -> TeamReadiness:
    """Return the readiness of the team of a build; refuse a build that is not the team's newest."""
    for team in ready.teams:
        if team.build_id == build.id:
            return team
    raise NotFound(say("refused.build_not_brought", id=build.id))


def _rules(db: Session, caller: Caller, event_id: str) -> dict[str, Rule]:
    event = resources.get_row(db, caller, Event, event_id)
    season = resources.get_row(db, caller, Season, event.season_id)
    stored = inspections.rules_for(event, season)
    return {rule.id: rule for rule in rule_sets.rules_of(stored)} if stored else {}


@router.post("/events/{event_id}/builds/{build_id}")
def inspect(event_id: EventId, build_id: BuildId, posted: Posted) -> Response:
    """Store the ticked findings about the inspected version of a build."""
    typed = posted.typed()
    filled, values = forms.read([INSPECTOR], typed)
    filled.typed |= typed
    findings = [finding for finding in _findings(typed, filled) if finding]
    if not findings:
        filled.other.append(say("inspection.nothing_ticked"))
    facts = values | {
        "build_id": build_id,
        "build_version": forms.whole(typed.get("build_version", "")),
        "findings": findings,
    }

    def work(db: Session, caller: Caller) -> str:
        inspections.inspect(db, caller, event_id, sound(InspectionCreate, filled, facts))
        return f"/events/{event_id}/builds/{build_id}"

    stored = None if filled.is_wrong else tried(posted, filled, work)
    return stored or _inspection(posted.visit, event_id, build_id, filled)


def _findings(typed: dict[str, str], filled: Filled) -> list[dict[str, Any]]:
    """Return the finding of each ticked check."""
    ticked = [name.removeprefix("outcome_") for name in typed if name.startswith("outcome_")]
    return [_finding(check, typed, filled) for check in ticked if typed[f"outcome_{check}"]]


def _finding(check: str, typed: dict[str, str], filled: Filled) -> dict[str, Any]:
    finding: dict[str, Any] = {"check": check, "outcome": typed[f"outcome_{check}"]}
    measured, evidence = Field(f"measured_{check}"), typed.get(f"evidence_{check}", "").strip()
    part, values = forms.read([measured], typed)
    filled.faults |= part.faults
    if measured.name in values:
        finding["measured"] = values[measured.name]
    return finding | ({"evidence": evidence} if evidence else {})

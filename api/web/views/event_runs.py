"""Enter official runs on the day of an event, one by one."""

from datetime import timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session, col, select
from starlette.responses import Response

from api.errors import NotFound, NotPermitted
from api.messages import say
from api.models.events.runs import ResultsCreate, SlotRead
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.turbines import Turbine
from api.services.core import cautions, resources
from api.services.core.scope import Caller
from api.services.events import run_orders, runs
from api.services.registry import builds
from api.web import forms, rendering
from api.web.forms import Field, Filled, labelled
from api.web.submitting import sound, tried
from api.web.views.trial_form import AT_ONCE, FIELDS, READING_NAMES, named, with_runs
from api.web.visitors import PostedByLead, Visit, Visited

router = APIRouter()
EventId = Annotated[str, Path()]
Position = Annotated[int, Path(ge=1)]
READ = ("pitch_deg", "load_ohm", "load_connected", *READING_NAMES, "meter_range_v")
RUN = (
    Field("session_id", "choice", required=True),
    Field("build_id", "choice", required=True),
    Field("outcome", "choice", required=True,
          choices=labelled("run_outcome", "ok", "did_not_finish", "run_again")),
    *(each for each in FIELDS if each.name in READ),
    Field("protest", "lines", more=True),
)  # fmt: skip
PLACES = {f"/runs/0/trial/runs/{at}/voltage_v": name for at, name in enumerate(READING_NAMES)}
PLACES |= {f"/runs/0/runs/{at}/voltage_v": name for at, name in enumerate(READING_NAMES)}


@router.get("/events/{event_id}/runs/{position}")
def official_run(event_id: EventId, position: Position, visited: Visited) -> Response:
    """Show the form for the official run at a position of the order."""
    return _form(visited, event_id, position, Filled(RUN, {"outcome": "ok"}))


def _form(visited: Visit, event_id: str, position: int, filled: Filled) -> Response:
    if not visited.is_lead:
        raise NotPermitted(say("refused.needs_lead"))
    with visited.reading() as db:
        event = resources.get_row(db, visited.caller, Event, event_id)
        slot = _slot(db, visited.caller, event, position)
        offered = {
            "session_id": _sessions(db, visited.caller, event),
            "build_id": _builds(db, visited.caller, slot),
        }
        done = runs.results(db, visited.caller, event.id).runs
    filled.fields = forms.offering(RUN, offered)
    for name, choices in offered.items():
        if len(choices) == 1 and not filled.typed.get(name):
            filled.typed[name] = choices[0][0]
    return rendering.show(
        "event_run.html",
        visited,
        status=422 if filled.is_wrong else 200,
        event=event,
        slot=slot,
        filled=filled,
        by_name={each.name: each for each in filled.fields},
        readings=READING_NAMES[:AT_ONCE],
        done=[each for each in done if each.position == position],
        no_session=not offered["session_id"],
        cautions=cautions.event(),
    )


def _slot(db: Session, caller: Caller, event: Event, position: int) -> SlotRead:
    """Return the slot at a position of the order."""
    for slot in run_orders.newest(db, caller, event.id).slots:
        if slot.position == position:
            return slot
    raise NotFound(say("refused.no_place", position=position))


def _sessions(db: Session, caller: Caller, event: Event) -> list[tuple[str, str]]:
    """Return the sessions of the event's day."""
    season = resources.get_row(db, caller, Season, event.season_id)
    morning = event.morning(season.timezone)
    rows = (
        select(BenchSession, Bench)
        .join(Bench, col(Bench.id) == col(BenchSession.bench_id))
        .where(col(BenchSession.season_id) == season.id)
        .where(col(BenchSession.started_at) >= morning)
        .where(col(BenchSession.started_at) < morning + timedelta(days=1))
        .order_by(col(BenchSession.started_at))
    )
    return [(row.id, named(row, bench, season.timezone)) for row, bench in db.execute(rows)]


def _builds(db: Session, caller: Caller, slot: SlotRead) -> list[tuple[str, str]]:
    """Return the builds that may run: a team's newest build, or the reference rotors."""
    if slot.team_id is not None:
        build = builds.newest_of_team(db, caller, slot.team_id)
        return [(build.id, say("build.number", number=build.number))] if build else []
    rows = (
        select(Build, Turbine)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .where(col(Turbine.team_id).is_(None))
        .order_by(col(Turbine.name), col(Build.number).desc())
    )
    return [
        (build.id, say("build.title", turbine=turbine.name, number=build.number))
        for build, turbine in db.execute(rows)
    ]


@router.post("/events/{event_id}/runs/{position}")
def enter_official_run(event_id: EventId, position: Position, posted: PostedByLead) -> Response:
    """Store an official run: its readings, or that it did not finish."""
    filled, values = forms.read(RUN, posted.typed())
    filled.places = {**filled.places, **PLACES}
    asked = _result(position, values, filled)

    def work(db: Session, caller: Caller) -> str:
        runs.record(db, caller, event_id, sound(ResultsCreate, filled, asked))
        return f"/events/{event_id}"

    return tried(posted, filled, work) or _form(posted.visit, event_id, position, filled)


def _result(position: int, values: dict[str, Any], filled: Filled) -> dict[str, Any]:
    """Return one official run as the facts of `ResultsCreate`."""
    if filled.faults:
        return {}
    run: dict[str, Any] = {"position": position}
    run |= {name: values[name] for name in ("build_id", "outcome", "protest") if name in values}
    if values["outcome"] == "ok":
        read = {name: values[name] for name in READ if name in values}
        run["trial"] = with_runs(read, filled)
    return {"session_id": values["session_id"], "runs": [run]}

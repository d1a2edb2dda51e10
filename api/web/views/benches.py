"""Pages of benches and of sessions."""

import re
from collections.abc import Sequence
from typing import Annotated, Any

from fastapi import APIRouter, Path
from sqlmodel import Session, col
from starlette.responses import Response

from api.messages import say
from api.models.measurements.flags import FlagQuery
from api.models.registry.benches import Bench, WindGridCreate
from api.models.registry.equipment import Equipment
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Trial
from api.services.core import resources
from api.services.core.scope import Caller
from api.services.registry import benches, pickers
from api.services.reporting.documents.blocks import Block, Builder
from api.services.reporting.documents.quality import add_chart
from api.services.season import comparisons, quality
from api.services.trials import answers, stored_trials
from api.web import forms, rendering
from api.web.descriptions import history_of
from api.web.forms import Field, Filled
from api.web.registration.fields import BENCH, SESSION
from api.web.submitting import sound, tried
from api.web.views import proposals
from api.web.visitors import Posted, Visit, Visited
from api.web.wind_units import asked_as_shown, asked_in

router = APIRouter()
SHOWN, MOST_TRIALS = 50, 200
#: The points of a wind grid: the axis, then four points at 0.7 of the radius.
POINTS = ((0.0, 0.0), (0.0, 0.7), (0.7, 0.0), (0.0, -0.7), (-0.7, 0.0))
GRID = (
    *(Field(f"point_{at}_m_s", takes_units=True) for at in range(len(POINTS))),
    Field("monitor_wind_speed_m_s", takes_units=True),
)
OF_POINT = re.compile("point_([0-9])_(.+)")
WIND_OF_SESSION = Field("wind_speed_start_m_s")


@router.get("/benches/{bench_id}")
def bench_page(bench_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a bench with its bench bias, its wind, and its sessions."""
    return _bench(visited, bench_id)


def _bench(visited: Visit, bench_id: str, posted_grid: Filled | None = None) -> Response:
    with visited.reading() as db:
        bench = resources.get_row(db, visited.caller, Bench, bench_id)
        season_id = visited.season_id
        school = db.get_one(Organisation, bench.organisation_id)
        season = db.get(Season, season_id)
        at_bench = col(BenchSession.bench_id) == bench.id
        sessions = resources.newest(db, visited.caller, BenchSession, at_bench, most=SHOWN)
        newest_grid = benches.newest_wind_grid(db, visited.caller, bench_id)
        scores = comparisons.bench_scores(db, visited.caller, season_id) if season else []
        facts: dict[str, Any] = {
            "history": history_of(db, visited, Bench, bench.id),
            "fan": db.get_one(Equipment, bench.fan_id),
            "meter": db.get_one(Equipment, bench.anemometer_id),
            "score": next((each for each in scores if each.bench_id == bench.id), None),
            "charts": _charts(db, visited.caller, season_id, bench.id) if season else [],
        }
    sessions.sort(key=lambda row: row.started_at, reverse=True)
    grid = posted_grid or Filled(asked_in(school.wind_unit, GRID))
    (wind_field,) = asked_in(school.wind_unit, [WIND_OF_SESSION])
    return rendering.show(
        "bench.html",
        visited,
        status=422 if grid.is_wrong else 200,
        bench=bench,
        school=school,
        sessions=[(row, forms.text_in_unit(wind_field, row)) for row in sessions],
        grid=newest_grid,
        filled=grid,
        zone=school.timezone or (season.timezone if season else "UTC"),
        dimensions=_plain_facts(BENCH, bench),
        left_out=[say("page.newest_only", count=SHOWN)] if len(sessions) == SHOWN else (),
        **facts,
    )


def _charts(db: Session, caller: Caller, season_id: str, bench_id: str) -> list[Block]:
    """Return the control charts of the reference rotor at a bench."""
    builder = Builder()
    for chart in quality.season_quality(db, caller, season_id).charts:
        if chart.bench_id == bench_id:
            add_chart(builder, chart)
    return builder.blocks


def _plain_facts(fields: Sequence[Field], thing: object) -> list[tuple[str, str]]:
    """Return the plain facts of a thing with their units."""
    shown = forms.shown(fields, thing)
    plain = [each for each in fields if each.kind in ("number", "whole", "text")]
    return [(each.label, shown[each.name]) for each in plain if shown[each.name]]


@router.post("/benches/{bench_id}/wind")
def measure(bench_id: Annotated[str, Path()], posted: Posted) -> Response:
    """Store wind measured at five points of the rotor plane, without the rotor."""
    typed = posted.typed()
    filled, values = forms.read(asked_as_shown(GRID, typed), typed)
    facts = _grid_facts(filled, values)

    def work(db: Session, caller: Caller) -> str:
        grid = sound(WindGridCreate, filled, facts)
        benches.measure_wind(db, caller, bench_id, grid)
        return f"/benches/{bench_id}"

    return tried(posted, filled, work) or _bench(posted.visit, bench_id, filled)


def _grid_facts(filled: Filled, values: dict[str, Any]) -> dict[str, Any]:
    """Return the facts of a wind grid, each speed in the unit that it was typed in."""
    facts: dict[str, Any] = {"points": []}
    for asked in filled.fields:
        name = filled.read_as.get(asked.name, asked.name)
        of_point = OF_POINT.match(name)
        if name not in values:
            continue
        if of_point is None:
            facts[name] = values[name]
            continue
        x, y = POINTS[int(of_point[1])]
        speed = f"wind_speed_{of_point[2]}"
        filled.places = {**filled.places, f"/points/{len(facts['points'])}/{speed}": asked.name}
        facts["points"].append({"x_radii": x, "y_radii": y, speed: values[name]})
    return facts


@router.get("/sessions/{session_id}")
def session_page(session_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show one session: its air and wind, its trials, and its own questions."""
    with visited.reading() as db:
        session = resources.get_row(db, visited.caller, BenchSession, session_id)
        bench = db.get_one(Bench, session.bench_id)
        school = db.get_one(Organisation, bench.organisation_id)
        season = db.get_one(Season, session.season_id)
        in_session = col(Trial.session_id) == session.id
        session_trials = stored_trials.newest(db, visited.caller, in_session, most=MOST_TRIALS)
        query = FlagQuery(session_id=session.id, limit=50)
        questions, _ = answers.page(db, visited.caller, query)
        asked = [each for each in questions if not each.trial_id]
        proposed = proposals.buttons(db, asked)
        done = history_of(db, visited, BenchSession, session.id)
        names = pickers.names_of_builds(db, [trial.build_id for trial in session_trials])
    return rendering.show(
        "session.html",
        visited,
        session=session,
        bench=bench,
        trials=session_trials,
        names=names,
        history=done,
        zone=school.timezone or season.timezone,
        conditions=_plain_facts(asked_in(school.wind_unit, SESSION), session),
        questions=[each for each in asked if each.state == "open"],
        proposed=proposed,
        answered=[each for each in asked if each.state != "open"],
        left_out=[say("page.newest_only", count=MOST_TRIALS)]
        if len(session_trials) == MOST_TRIALS
        else (),
    )

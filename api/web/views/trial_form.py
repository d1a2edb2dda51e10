"""The form at the bench: one column, prefilled from the last trial, stored once."""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

from fastapi import APIRouter
from sqlmodel import Session, col
from starlette.responses import Response

from api.errors import NotFound
from api.messages import say
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Trial, TrialCreate
from api.services.access import web_sessions
from api.services.core import cautions, resources
from api.services.core.scope import Caller, visible
from api.services.imports.decimal_signs import clear
from api.services.registry import pickers
from api.services.trials import stored_trials, trials
from api.web import forms, rendering, typed_units
from api.web.forms import Field, Filled, labelled
from api.web.submitting import tried
from api.web.visitors import Posted, Visit, Visited
from api.web.wind_units import asked_as_shown, asked_in, shared_unit, typed_in, unit_of_school

router = APIRouter()

SESSION_SHOWN = 12  # newest trials of the chosen session, below the form
TODAY = timedelta(hours=12)
READINGS, AT_ONCE = 5, 3  # a trial usually has three runs; more are hidden at first
KINDS = ("record", "pitch", "load", "wind", "reference", "open_circuit", "visit")
RANGES = ("0.2", "2", "20", "200")
FIELDS = (
    Field("session_id", "choice", required=True),
    Field("build_id", "choice", required=True),
    Field("kind", "choice", required=True, choices=labelled("trial_kind", *KINDS)),
    Field("pitch_deg", takes_units=True),
    Field("load_ohm", takes_units=True),
    Field("load_connected", "tick"),
    *(Field(f"voltage_{at}", more=at > AT_ONCE, takes_units=True) for at in range(1, READINGS + 1)),
    Field("meter_range_v", "choice", choices=[(r, f"{r} V") for r in RANGES]),
    Field("wind_speed_m_s", more=True, takes_units=True),
    Field("pitch_after_deg", more=True, takes_units=True),
    Field("rotor_speed_rpm", more=True, takes_units=True),
    Field("current_a", more=True, takes_units=True),
    Field("duration_s", more=True, takes_units=True),
    Field("note", "lines", more=True),
)
#: The fields that the next trial usually shares with the last one.
REPEATED = ("session_id", "build_id", "kind", "pitch_deg", "load_ohm", "load_connected",
        "meter_range_v", "wind_speed_m_s")  # fmt: skip
#: Fields that an offline phone does not store, and so sends only the first time.
NOT_ON_A_PHONE = frozenset({"note", "tried"})
#: The messages that the script of the page needs offline.
SCRIPT_MESSAGES = (
    "offline", "title", "waiting", "draft", "refused", "restored", "correcting", "of_build",
    "correct", "remove", "sure", "sending", "needed", "number", "either", "limits", "reading",
    "load", "range", "wrong", "full",
)  # fmt: skip
IN_RUNS = ("rotor_speed_rpm", "current_a", "duration_s")
READING_NAMES = tuple(f"voltage_{at}" for at in range(1, READINGS + 1))
PLACES = {f"/runs/{at}/voltage_v": name for at, name in enumerate(READING_NAMES)}
PLACES |= {f"/runs/{at}/voltage_mv": name for at, name in enumerate(READING_NAMES)}
#: The fields that each run repeats, under the names they have in each unit.
REPEATED_IN_RUNS = {
    each: name for name in IN_RUNS for each in typed_units.names_by_symbol(name).values()
}
PLACES |= {f"/runs/0/{each}": name for each, name in REPEATED_IN_RUNS.items()}


@router.get("/trials/new")
def new_trial(visited: Visited) -> Response:
    """Show the form, prefilled from the last trial or from the address."""
    asked = visited.request.query_params
    with visited.reading() as db:
        typed = _last(db, visited) | _from_address(db, visited.caller, asked)
        if not typed.get("session_id"):
            typed |= _begun_today(db, visited)
        unit = _wind_unit(db, visited.caller, typed)
    return _form(visited, Filled(asked_in(unit, FIELDS), typed_in(unit, typed)))


def _wind_unit(db: Session, caller: Caller, typed: Mapping[str, str]) -> str:
    """Return the unit of the school of the chosen session, else of all schools in reach."""
    if typed.get("session_id"):
        session = resources.get_row(db, caller, BenchSession, typed["session_id"])
        return unit_of_school(db, session.organisation_id)
    return shared_unit(db, caller)


def _last(db: Session, visited: Visit) -> dict[str, str]:
    """Return the repeated fields of the last trial of this visitor, if it still exists."""
    try:
        row = resources.get_row(db, visited.caller, Trial, visited.last_trial_id or "")
    except NotFound:
        return {"kind": "record"}
    return _repeated(row)


def _begun_today(db: Session, visited: Visit) -> dict[str, str]:
    """Return the newest session that began in the last twelve hours as the choice."""
    recent = (col(BenchSession.started_at) > visited.now - TODAY,
              col(BenchSession.started_at) <= visited.now)  # fmt: skip
    rows = resources.newest(db, visited.caller, BenchSession, *recent, most=1)
    return {"session_id": rows[0].id} if rows else {}


def _repeated(row: Trial) -> dict[str, str]:
    return forms.shown([each for each in FIELDS if each.name in REPEATED], row)


def _from_address(db: Session, caller: Caller, asked: Mapping[str, str]) -> dict[str, str]:
    """Return the values in an address: a session, a build, a pitch to try, an earlier trial."""
    values = {name: asked[name] for name in ("session_id", "build_id", "kind") if asked.get(name)}
    if "session_id" in values:
        resources.get_row(db, caller, BenchSession, values["session_id"])
    if "build_id" in values:
        values |= _of_build(db, caller, values["build_id"]) | {"load_connected": ""}
    if asked.get("after"):
        values = _repeated(resources.get_row(db, caller, Trial, asked["after"])) | values
    numbers = ("pitch_deg", "load_ohm")
    return values | {name: asked[name][:20] for name in numbers if asked.get(name)}


@router.post("/trials/new")
def enter_trial(posted: Posted) -> Response:
    """Store a trial once and show its result, or what has to be corrected."""
    typed = posted.typed()
    filled, values = forms.read(asked_as_shown(FIELDS, typed), typed)
    filled.places, trial = {**filled.places, **PLACES}, None
    if not filled.faults:
        trial = forms.shaped(TrialCreate, filled, with_runs(values, filled))
    if trial is None:
        return _form(posted.visit, filled)

    def work(db: Session, caller: Caller) -> str:
        if posted.text("tried") and (stored_at := posted.led_to(db)):
            return f"{stored_at}/correct?sent=before"  # the trial stored before this correction
        stored, _ = trials.submit_one(db, caller, trial)
        web_sessions.remember(db, posted.visit.digest, stored.id)
        return f"/trials/{stored.id}"

    return tried(posted, filled, work, NOT_ON_A_PHONE) or _form(posted.visit, filled)


def with_runs(values: dict[str, Any], filled: Filled) -> dict[str, Any]:
    """Make a run of each reading; values that were read once belong to each run."""
    volts = [values.pop(name) for name in READING_NAMES if name in values]
    once = {name: values.pop(name) for name in REPEATED_IN_RUNS if name in values}
    runs = [_reading(each) | once for each in volts]
    has_current = any(REPEATED_IN_RUNS[name] == "current_a" for name in once)
    values["runs"] = runs or ([once] if has_current else [])
    if not values["runs"]:
        filled.faults["voltage_1"] = say("trial.no_reading")
    if values.get("meter_range_v") is not None:
        values["meter_range_v"] = float(values["meter_range_v"])
    if values.get("kind") == "open_circuit":
        values.pop("load_connected", None)
    return values


def _reading(volts: float | forms.InUnit) -> dict[str, float]:
    """Return the field of a reading, under the name that it has in its unit."""
    return {volts.name: volts.value} if isinstance(volts, forms.InUnit) else {"voltage_v": volts}


def _form(visited: Visit, filled: Filled) -> Response:
    """Show the form with its choices; a chosen session is always among them."""
    with visited.reading() as db:
        season_id = _season_of(db, visited.caller, filled) or visited.season_id
        chosen = {name: filled.typed.get(name, "") for name in ("session_id", "build_id")}
        rows = pickers.sessions(db, visited.caller, season_id, chosen["session_id"])
        sessions = [(row.id, named(row, bench, zone)) for row, bench, zone in rows]
        zones = {row.id: zone for row, _, zone in rows}
        schools = {row.id: row.organisation_id for row, _, _ in rows}
        builds = pickers.builds(
            db, visited.caller, season_id, chosen["build_id"],
            first_school=schools.get(chosen["session_id"], ""),
        )  # fmt: skip
        if not chosen["build_id"]:
            filled.typed |= _only(db, visited.caller, builds)
        benches = pickers.benches(db, visited.caller)
        listed = [id for of_team in builds for id, _ in of_team.options]
        settings = _settings(db, visited.caller, listed)
        in_session = stored_trials.newest(
            db, visited.caller, col(Trial.session_id) == chosen["session_id"], most=SESSION_SHOWN
        )
        names = pickers.names_of_builds(db, [trial.build_id for trial in in_session])
    return rendering.show(
        "trial_form.html",
        visited,
        status=422 if filled.is_wrong else 200,
        filled=filled,
        by_name={each.name: each for each in filled.fields},
        readings=READING_NAMES[:AT_ONCE],
        sessions=sessions,
        schools=schools,
        builds=builds,
        settings=settings,
        benches=benches,
        in_session=in_session,
        zone=zones.get(chosen["session_id"], visited.zone),
        names=names,
        cautions=cautions.foot(),
        said={name: say(f"unsent.{name}") for name in SCRIPT_MESSAGES},
        left_out=[say("page.first_only", count=len(listed))]
        if len(listed) >= pickers.MOST
        else None,
    )


def _only(db: Session, caller: Caller, builds: list[pickers.BuildsOfTeam]) -> dict[str, str]:
    """Return the only build of all teams as the choice, or nothing if there are several."""
    of_teams = [id for group in builds if group.organisation_id for id, _ in group.options]
    return _of_build(db, caller, of_teams[0]) if len(of_teams) == 1 else {}


def _of_build(db: Session, caller: Caller, build_id: str) -> dict[str, str]:
    """Return a build with its registered pitch and load."""
    build = resources.get_row(db, caller, Build, build_id)
    return {"build_id": build.id, **_setting(build)}


def _settings(db: Session, caller: Caller, ids: list[str]) -> dict[str, dict[str, str]]:
    """Return the registered pitch and load of each build, by its id."""
    rows = visible(caller, Build).where(col(Build.id).in_(ids))
    return {row.id: _setting(row) for row in db.scalars(rows)}


def _setting(build: Build) -> dict[str, str]:
    return {
        "pitch_deg": clear("pitch_deg", forms.plain(build.pitch_deg)),
        "load_ohm": clear("load_ohm", forms.plain(build.load_ohm)),
    }


def named(session: BenchSession, bench: Bench, zone: str) -> str:
    """Return the name of a session: its bench and its time."""
    return say("trial.session", bench=bench.name, when=pickers.when(session.started_at, zone))


def _season_of(db: Session, caller: Caller, filled: Filled) -> str | None:
    """Return the season of the chosen session, which may not be the current one."""
    try:
        chosen = filled.typed.get("session_id", "")
        return resources.get_row(db, caller, BenchSession, chosen).season_id
    except NotFound:
        return None

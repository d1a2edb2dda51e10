"""The entries of all kinds of things: their fields, their choices and their pages."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from pydantic import ValidationError
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col

from api.errors import FieldError, Invalid, NotFound
from api.messages import say
from api.models.core.validation import invalid
from api.models.registry.benches import Bench, BenchCreate, BenchUpdate
from api.models.registry.builds import BuildCreate, BuildUpdate
from api.models.registry.equipment import SPECS, EquipmentCreate, EquipmentUpdate
from api.models.registry.events import EventCreate, EventUpdate
from api.models.registry.organisations import Organisation, OrganisationCreate, OrganisationUpdate
from api.models.registry.seasons import Season, SeasonCreate, SeasonUpdate
from api.models.registry.sessions import SessionCreate, SessionUpdate
from api.models.registry.teams import Team, TeamCreate, TeamUpdate
from api.models.registry.turbines import Turbine, TurbineCreate, TurbineUpdate
from api.services.core import cautions, resources
from api.services.core.scope import Caller, visible
from api.services.imports.cells import NotAValue
from api.services.imports.moments import read_moment
from api.services.registry import (
    benches,
    builds,
    equipment,
    events,
    organisations,
    pickers,
    rule_sets,
    seasons,
    sessions,
    teams,
    turbines,
)
from api.web import wind_units
from api.web.forms import Choices, Field, shown
from api.web.registration import entry
from api.web.registration.entry import Crumb, Entry, Typed, Values
from api.web.registration.fields import (
    BENCH,
    BUILD,
    CONDITIONS,
    EVENT,
    OF_BUILD,
    ROTOR,
    SCHOOL,
    SEASON,
    SESSION,
    SPEC,
    TEAM,
    TURBINE,
)
from api.web.submitting import taken

router = APIRouter()


# --- seasons and schools --------------------------------------------------------------------


def _with_rules(db: Session, caller: Caller, values: Values, moved: Values) -> Values:
    """Read a rule set that was pasted as JSON; `example` uses the built-in example."""
    if not moved.get("rule_set"):
        return moved
    if moved["rule_set"] == "example":
        return moved | {"rule_set": rule_sets.example()}
    try:
        return moved | {"rule_set": json.loads(moved["rule_set"])}
    except (ValueError, RecursionError) as error:
        words = say("form.not_json")
        raise Invalid(words, [FieldError("not_json", words, pointer="/rule_set")]) from error


def _zone_of_newest_season(db: Session, caller: Caller, from_address: Typed) -> Typed:
    """Suggest the time zone of the newest season for the next one."""
    newest = db.scalars(visible(caller, Season).order_by(col(Season.starts_on).desc())).first()
    return {"timezone": newest.timezone if newest else "UTC"}


def _rules_as_text(thing: Any) -> Any:
    facts = thing.model_dump()
    rules = facts.get("rule_set")
    text = None if rules is None else json.dumps(rules, indent=1, ensure_ascii=False)
    return SimpleNamespace(**facts | {"rule_set": text})


# --- teams, turbines, builds ----------------------------------------------------------------


def _without_build(db: Session, caller: Caller, values: Values, moved: Values) -> Values:
    return {name: value for name, value in moved.items() if name not in OF_BUILD}


def _rotor_choices(db: Session, caller: Caller, typed: Typed) -> Mapping[str, Choices]:
    return {"rotor_id": pickers.equipment(db, caller, "reference_rotor", None)}


def _first_build(db: Session, caller: Caller, turbine: Any, values: Values) -> None:
    """Store the first build of a new turbine: a turbine cannot be tested without one."""
    facts = {name: value for name, value in values.items() if name in OF_BUILD}
    try:
        build = BuildCreate.model_validate(facts | {"turbine_id": turbine.id})
    except ValidationError as error:
        raise invalid(error, facts) from error
    builds.create(db, caller, build)


def _generators(db: Session, caller: Caller, typed: Typed) -> Mapping[str, Choices]:
    school = typed.get("organisation_id") or None
    if school is None and typed.get("team_id"):
        school = resources.get_row(db, caller, Team, typed["team_id"]).organisation_id
    return {"generator_id": pickers.equipment(db, caller, "generator", school)}


def _like_newest_build(db: Session, caller: Caller, from_address: Typed) -> Typed:
    """Suggest the values of the turbine's newest build: usually one of them changes."""
    newest = _newest_build(db, caller, from_address["turbine_id"])
    if newest is None:
        return {}
    return {name: text for name, text in shown(BUILD, newest).items() if name != "note"}


def _newest_build(db: Session, caller: Caller, turbine_id: str) -> Any:
    turbine = resources.get_row(db, caller, Turbine, turbine_id)
    return builds.newest_of(db, caller, turbine.id)


def _parent_build(db: Session, caller: Caller, values: Values) -> Values:
    """Return the parent of a new build."""
    newest = _newest_build(db, caller, str(values.get("turbine_id", "")))
    return {"parent_build_id": newest.id} if newest else {}


# --- benches and sessions -------------------------------------------------------------------


#: The field for the name of new equipment, for each field that chooses existing equipment.
BELOW = {"fan_id": "new_fan_tag", "anemometer_id": "new_anemometer_tag"}


def _bench_offers(db: Session, caller: Caller, typed: Typed) -> Mapping[str, Choices]:
    school = typed.get("organisation_id")
    return {
        "fan_id": pickers.equipment(db, caller, "fan", school),
        "anemometer_id": pickers.equipment(db, caller, "anemometer", school),
    }


def _with_new_equipment(db: Session, caller: Caller, values: Values, moved: Values) -> Values:
    """Register the new fan and the new wind meter of a bench."""
    facts_of_bench = dict(moved)
    fan, meter = (
        facts_of_bench.pop("new_fan_tag", None),
        facts_of_bench.pop("new_anemometer_tag", None),
    )
    kind = facts_of_bench.pop("new_anemometer_type", None)
    if kind and not meter and not values.get("anemometer_id"):
        meter = say("bench.its_meter", name=values.get("name", ""))[:80]
    owner = {"organisation_id": values.get("organisation_id")}
    if fan:
        facts = owner | {"kind": "fan", "tag": fan}
        facts_of_bench["fan_id"] = _register(db, caller, facts, "new_fan_tag")
    if meter:
        sheet = {"type": kind} if kind else {}
        facts = owner | {"kind": "anemometer", "tag": meter, "spec": sheet}
        facts_of_bench["anemometer_id"] = _register(db, caller, facts, "new_anemometer_tag")
    for name in ("fan_id", "anemometer_id"):
        if not (values | facts_of_bench).get(name):
            words = say(f"bench.no_{name}")
            raise Invalid(words, [FieldError("missing", words, pointer=f"/{BELOW[name]}")])
    return facts_of_bench


def _register(db: Session, caller: Caller, facts: Values, name_field: str) -> str:
    """Register new equipment; report faults at the field with its name."""
    try:
        return equipment.create(db, caller, EquipmentCreate.model_validate(facts)).id
    except ValidationError as error:
        words = invalid(error, facts).errors[0].detail
        raise Invalid(words, [FieldError("equipment", words, pointer=f"/{name_field}")]) from error
    except IntegrityError as error:
        raise taken(name_field) from error


def _session_offers(db: Session, caller: Caller, typed: Typed) -> Mapping[str, Choices]:
    bench = resources.get_row(db, caller, Bench, typed["bench_id"])
    return {
        "season_id": pickers.seasons(db, caller),
        "meter_id": pickers.equipment(db, caller, "meter", bench.organisation_id),
    }


def zone_of(db: Session, caller: Caller, bench_id: str, season_id: str) -> str:
    """Return the time zone of a bench's school, else of the season."""
    bench = resources.get_row(db, caller, Bench, bench_id)
    school = db.get_one(Organisation, bench.organisation_id)
    season = db.get(Season, season_id)
    return school.timezone or (season.timezone if season else "UTC")


def _session_now(db: Session, caller: Caller, from_address: Typed) -> Typed:
    season_id = from_address[entry.SEASON_NOW]
    bench = resources.get_row(db, caller, Bench, from_address["bench_id"])
    zone = zone_of(db, caller, bench.id, season_id)
    return {
        "season_id": season_id,
        "started_at": local(datetime.now(UTC), zone),
        wind_units.WIND_UNIT: wind_units.unit_of_school(db, bench.organisation_id),
    }


def _unit_of_session(db: Session, session: Any) -> Typed:
    bench = db.get_one(Bench, session.bench_id)
    return {wind_units.WIND_UNIT: wind_units.unit_of_school(db, bench.organisation_id)}


def local(moment: datetime, zone: str) -> str:
    """Return a moment as the text of a date and time field.

    >>> local(datetime(2026, 7, 5, 13, 30, tzinfo=UTC), "Europe/Dublin")
    '2026-07-05T14:30'
    """
    return f"{moment.astimezone(ZoneInfo(zone)):%Y-%m-%dT%H:%M}"


def _in_school_time(db: Session, caller: Caller, values: Values, moved: Values) -> Values:
    if "started_at" not in moved:
        return moved
    zone = zone_of(db, caller, str(values.get("bench_id")), str(values.get("season_id", "")))
    try:
        moment = read_moment(str(moved["started_at"]).replace("T", " "), zone)
    except NotAValue as wrong:
        fault = FieldError(wrong.code, str(wrong), wrong.hint, pointer="/started_at")
        raise Invalid(str(wrong), [fault]) from wrong
    return moved | {"started_at": moment}


# --- equipment and events -------------------------------------------------------------------


def _equipment_fields(typed: Typed) -> list[Field]:
    """Return the fields of a kind of equipment, with those of its data sheet."""
    kind = typed.get("kind", "")
    if kind not in SPECS:
        raise NotFound(say("refused.no_equipment_kind", kind=kind[:40]))
    return [
        Field("tag", "text", required=True),
        *SPEC.get(kind, ()),
        Field("condition", "choice", required=True, choices=CONDITIONS),
        Field("spares", "whole", more=True),
        Field("note", "lines", more=True),
    ]


def _with_spec(db: Session, caller: Caller, values: Values, moved: Values) -> Values:
    """Move the fields of a data sheet into `spec`; all of them, if any changed."""
    names = [each.name for each in SPEC.get(str(values.get("kind", "")), ())]
    plain = {name: value for name, value in moved.items() if name not in names}
    if any(name in moved for name in names):
        plain["spec"] = {name: values[name] for name in names if values.get(name) is not None}
    return plain


def _with_sheet(thing: Any) -> Any:
    return SimpleNamespace(**thing.model_dump() | thing.spec)


def _season_choices(db: Session, caller: Caller, typed: Typed) -> Mapping[str, Choices]:
    return {"season_id": pickers.seasons(db, caller)}


def _this_season(db: Session, caller: Caller, from_address: Typed) -> Typed:
    return {"season_id": from_address[entry.SEASON_NOW]}


def _within_school(db: Session, caller: Caller, from_address: Typed) -> Crumb:
    school = resources.get_row(db, caller, Organisation, from_address["organisation_id"])
    return f"/schools/{school.id}", school.name


def _within_team(db: Session, caller: Caller, from_address: Typed) -> Crumb:
    team = resources.get_row(db, caller, Team, from_address["team_id"])
    return f"/teams/{team.id}", team.name


def _within_turbine(db: Session, caller: Caller, from_address: Typed) -> Crumb:
    turbine = resources.get_row(db, caller, Turbine, from_address["turbine_id"])
    return _team_of(turbine), turbine.name


def _within_bench(db: Session, caller: Caller, from_address: Typed) -> Crumb:
    bench = resources.get_row(db, caller, Bench, from_address["bench_id"])
    return f"/benches/{bench.id}", bench.name


def _team_of(turbine: Any) -> str:
    return f"/teams/{turbine.team_id}" if turbine.team_id else "/equipment"


ENTRIES = (
    Entry("seasons", "season", SeasonCreate, SeasonUpdate,
          seasons.create, seasons.get, seasons.change, lambda typed: SEASON,
          lambda season: f"/seasons/{season.id}", view=_rules_as_text, prepare=_with_rules,
          suggest=_zone_of_newest_season, led=(True, True)),
    Entry("schools", "school", OrganisationCreate, OrganisationUpdate,
          organisations.create, organisations.get, organisations.change, lambda typed: SCHOOL,
          lambda school: f"/schools/{school.id}",
          suggest=lambda db, caller, from_address: {"sharing": "own", "wind_unit": "m_s"},
          led=(True, False),
          leads=frozenset({"name"})),
    Entry("teams", "team", TeamCreate, TeamUpdate, teams.create, teams.get, teams.change,
          lambda typed: TEAM, lambda team: f"/teams/{team.id}",
          from_address={"organisation_id": Organisation}, once=frozenset({"season_id"}),
          offers=_season_choices, suggest=_this_season, within=_within_school),
    Entry("turbines", "turbine", TurbineCreate, TurbineUpdate,
          turbines.create, turbines.get, turbines.change, lambda typed: TURBINE,
          _team_of, own=_team_of, within=_within_team,
          from_address={"team_id": Team}, once=OF_BUILD, offers=_generators,
          prepare=_without_build, then=_first_build, cautions=cautions.workshop,
          suggest=lambda db, caller, from_address: {"name": say("turbine.first_name")}),
    Entry("rotors", "rotor", TurbineCreate, TurbineUpdate,
          turbines.create, turbines.get, turbines.change, lambda typed: ROTOR,
          lambda turbine: "/equipment", own=lambda turbine: "/equipment", once=OF_BUILD,
          offers=_rotor_choices,
          prepare=_without_build, newly=lambda db, caller, values: {"team_id": None},
          then=_first_build, led=(True, True), cautions=cautions.rotor),
    Entry("builds", "build", BuildCreate, BuildUpdate, builds.create, builds.get, builds.change,
          lambda typed: (Field("changed_factor", "text"), *BUILD),
          lambda build: f"/builds/{build.id}", from_address={"turbine_id": Turbine},
          within=_within_turbine,
          suggest=_like_newest_build, newly=_parent_build, cautions=cautions.rotor),
    Entry("benches", "bench", BenchCreate, BenchUpdate,
          benches.create, benches.get, benches.change, lambda typed: BENCH,
          lambda bench: f"/benches/{bench.id}", from_address={"organisation_id": Organisation},
          offers=_bench_offers, within=_within_school, prepare=_with_new_equipment,
          cautions=cautions.bench),
    Entry("sessions", "session", SessionCreate, SessionUpdate,
          sessions.create, sessions.get, sessions.change,
          lambda typed: wind_units.asked_as_shown(SESSION, typed),
          lambda session: f"/trials/new?session_id={session.id}&begun=yes",
          from_address={"bench_id": Bench}, once=frozenset({"started_at", "season_id"}),
          offers=_session_offers,
          within=_within_bench,
          suggest=_session_now, prepare=_in_school_time, about=_unit_of_session,
          cautions=cautions.bench),
    Entry("equipment", "equipment", EquipmentCreate, EquipmentUpdate,
          equipment.create, equipment.get, equipment.change, _equipment_fields,
          lambda item: f"/equipment/{item.id}",
          from_address={"kind": None, "organisation_id": Organisation},
          may_miss=frozenset({"organisation_id"}),
          suggest=lambda db, caller, from_address: {"condition": "good"}, prepare=_with_spec,
          view=_with_sheet),
    Entry("events", "event", EventCreate, EventUpdate, events.create, events.get, events.change,
          lambda typed: EVENT, lambda event: f"/events/{event.id}",
          once=frozenset({"season_id"}), offers=_season_choices, suggest=_this_season,
          prepare=_with_rules, view=_rules_as_text, led=(True, True)),
)  # fmt: skip

for each in ENTRIES:
    entry.add(router, each)

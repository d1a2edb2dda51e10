"""The form that corrects a trial: every fact of it, and each of its runs by itself."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlmodel import Session

from api.messages import say
from api.models.trials.trials import MOST_RUNS, Correction, TrialChanges, TrialRead
from api.services.core.scope import Caller
from api.services.imports.decimal_signs import clear
from api.services.registry import pickers
from api.web import forms
from api.web.forms import Choices, Field, Filled, labelled
from api.web.views.trial_form import KINDS, named

REASON = Field("reason", "text", required=True)
FACTS = (
    Field("session_id", "choice"),
    Field("build_id", "choice", required=True),
    Field("kind", "choice", required=True,
          choices=labelled("trial_kind", *KINDS, "event")),
    Field("pitch_deg"),
    Field("load_ohm"),
    Field("load_connected", "tick"),
    Field("meter_range_v"),
    Field("wind_speed_m_s"),
    Field("load_id", "choice", more=True),
    Field("pitch_after_deg", more=True),
    Field("blade_pitches_deg", "numbers", more=True),
    Field("rotor_diameter_cm", more=True),
    Field("note", "lines", more=True),
)  # fmt: skip
#: What a run may hold; a logged series is shown where there is one.
OF_RUN = ("voltage_v", "current_a", "rotor_speed_rpm", "wind_speed_m_s", "duration_s")
LOGGED = ("series_voltage_v", "sample_rate_hz")


def fields(found: TrialRead) -> list[Field]:
    """Return the fields of a trial: its facts, its runs and one more, and the reason."""
    numbers = range(1, min(len(found.runs) + 1, MOST_RUNS) + 1)
    return [*FACTS, *(each for number in numbers for each in run_fields(found, number)), REASON]


def run_fields(found: TrialRead, number: int) -> list[Field]:
    """Return the fields of one run."""
    run = found.runs[number - 1] if number <= len(found.runs) else None
    plain = [Field(key(number, name), more=name != "voltage_v") for name in OF_RUN]
    if run is None or not run.series_voltage_v:
        return plain
    return [Field(key(number, "series_voltage_v"), "numbers", more=True),
            Field(key(number, "sample_rate_hz"), more=True), *plain]  # fmt: skip


def key(number: int, name: str) -> str:
    """Return the name of a field of a run: its reading is called as on the form at the bench."""
    return f"voltage_{number}" if name == "voltage_v" else f"run_{number}_{name}"


def shown(found: TrialRead) -> dict[str, str]:
    """Return a trial as its form shows it."""
    of_runs = {
        key(run.number, name): clear(name, forms.plain(getattr(run, name)))
        for run in found.runs
        for name in (*OF_RUN, *LOGGED)
    }
    return forms.shown(FACTS, found) | of_runs


def offers(db: Session, caller: Caller, found: TrialRead) -> Mapping[str, Choices]:
    """Return what may be chosen: sessions and builds of its season, resistors of its school."""
    sessions = pickers.sessions(db, caller, found.season_id, found.session_id)
    builds = pickers.builds(db, caller, found.season_id, found.build_id)
    loads = pickers.equipment(db, caller, "load", found.organisation_id)
    as_it_is = say("trial.as_it_is")
    return {
        "session_id": _with(
            found.session_id,
            [(row.id, named(row, bench, zone)) for row, bench, zone in sessions], as_it_is,
        ),
        "build_id": _with(found.build_id, [pair for _, some in builds for pair in some], as_it_is),
        "load_id": _with(found.load_id, loads, as_it_is),
    }  # fmt: skip


def _with(chosen: str | None, offered: Choices, words: str) -> Choices:
    """Return what is offered, and what is stored where the visitor may not see it by its name."""
    if chosen is None or any(value == chosen for value, _ in offered):
        return offered
    return [(chosen, words), *offered]


def correction(
    found: TrialRead, filled: Filled, values: Mapping[str, Any], sent: Mapping[str, str]
) -> Correction | None:
    """Return what a filled form would correct, or None with what is wrong beside its fields.

    A field that was not sent is left as it is; a tick that was not sent is none.
    """
    before = shown(found)
    moved = {
        each.name
        for each in filled.fields
        if (each.name in sent or each.kind == "tick")
        and filled.typed[each.name] != before.get(each.name, "")
    } - {"reason"}
    if not moved:
        filled.other.append(say("trial.nothing_moved"))
        return None
    of_facts = {each.name for each in FACTS}
    changes = {name: values.get(name) for name in moved & of_facts}
    if moved - of_facts:
        numbers, changes["runs"] = _runs(found, values, moved)
        filled.places = {
            f"{prefix}/runs/{at}/{name}": key(number, name)
            for prefix in ("", "/changes")
            for at, number in enumerate(numbers)
            for name in (*OF_RUN, *LOGGED)
        }
        if not numbers:
            filled.faults["voltage_1"] = say("trial.no_reading")
            return None
    if forms.shaped(TrialChanges, filled, changes) is None:
        return None
    return forms.shaped(Correction, filled, {"reason": filled.typed["reason"], "changes": changes})


def _runs(
    found: TrialRead, values: Mapping[str, Any], moved: set[str]
) -> tuple[Sequence[int], list[dict[str, Any]]]:
    """Return the runs that a form holds, those that are empty left out, with their numbers.

    What was not typed over keeps its value to the last digit.
    """
    kept: dict[int, dict[str, Any]] = {}
    for number in range(1, len(found.runs) + 2):
        stored = found.runs[number - 1] if number <= len(found.runs) else None
        run = {}
        for name in (*OF_RUN, *LOGGED):
            asked = key(number, name)
            value = values.get(asked) if asked in moved else getattr(stored, name, None)
            if value is not None:
                run[name] = value
        if run:
            kept[number] = run
    return list(kept), list(kept.values())

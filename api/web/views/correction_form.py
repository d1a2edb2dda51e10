"""The form that corrects a trial: all its facts, and each of its runs."""

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
#: The fields of a run; a logged series is shown if there is one.
OF_RUN = ("voltage_v", "current_a", "rotor_speed_rpm", "wind_speed_m_s", "duration_s")
LOGGED = ("series_voltage_v", "sample_rate_hz")


def fields(stored_trial: TrialRead) -> list[Field]:
    """Return the fields of a trial: its facts, its runs and one more, and the reason."""
    numbers = range(1, min(len(stored_trial.runs) + 1, MOST_RUNS) + 1)
    return [
        *FACTS,
        *(each for number in numbers for each in run_fields(stored_trial, number)),
        REASON,
    ]


def run_fields(stored_trial: TrialRead, number: int) -> list[Field]:
    """Return the fields of one run."""
    run = stored_trial.runs[number - 1] if number <= len(stored_trial.runs) else None
    plain = [Field(key(number, name), more=name != "voltage_v") for name in OF_RUN]
    if run is None or not run.series_voltage_v:
        return plain
    return [Field(key(number, "series_voltage_v"), "numbers", more=True),
            Field(key(number, "sample_rate_hz"), more=True), *plain]  # fmt: skip


def key(number: int, name: str) -> str:
    """Return the name of a field of a run; its reading has the name of the form at the bench."""
    return f"voltage_{number}" if name == "voltage_v" else f"run_{number}_{name}"


def shown(stored_trial: TrialRead) -> dict[str, str]:
    """Return the texts of a trial for its form."""
    of_runs = {
        key(run.number, name): clear(name, forms.plain(getattr(run, name)))
        for run in stored_trial.runs
        for name in (*OF_RUN, *LOGGED)
    }
    return forms.shown(FACTS, stored_trial) | of_runs


def offers(db: Session, caller: Caller, stored_trial: TrialRead) -> Mapping[str, Choices]:
    """Return the choices: sessions and builds of its season, resistors of its school."""
    sessions = pickers.sessions(db, caller, stored_trial.season_id, stored_trial.session_id)
    school_id = stored_trial.organisation_id
    builds = pickers.builds(
        db, caller, stored_trial.season_id, stored_trial.build_id, first_school=school_id
    )
    options = [pair for of_team in builds for pair in of_team.options]
    loads = pickers.equipment(db, caller, "load", school_id)
    as_it_is = say("trial.as_it_is")
    return {
        "session_id": _with(
            stored_trial.session_id,
            [(row.id, named(row, bench, zone)) for row, bench, zone in sessions], as_it_is,
        ),
        "build_id": _with(stored_trial.build_id, options, as_it_is),
        "load_id": _with(stored_trial.load_id, loads, as_it_is),
    }  # fmt: skip


def _with(chosen: str | None, offered: Choices, words: str) -> Choices:
    """Return the choices, with the stored one even if the visitor may not see its name."""
    if chosen is None or any(value == chosen for value, _ in offered):
        return offered
    return [(chosen, words), *offered]


def correction(
    stored_trial: TrialRead, filled: Filled, values: Mapping[str, Any], typed: Mapping[str, str]
) -> Correction | None:
    """Return the correction in a filled form, or None with the faults at its fields.

    A field that was not sent stays unchanged; a tick that was not sent is cleared.
    """
    before = shown(stored_trial)
    moved = {
        each.name
        for each in filled.fields
        if (each.name in typed or each.kind == "tick")
        and filled.typed[each.name] != before.get(each.name, "")
    } - {"reason"}
    if not moved:
        filled.other.append(say("trial.nothing_moved"))
        return None
    of_facts = {each.name for each in FACTS}
    changes = {name: values.get(name) for name in moved & of_facts}
    if moved - of_facts:
        numbers, changes["runs"] = _runs(stored_trial, values, moved)
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
    stored_trial: TrialRead, values: Mapping[str, Any], moved: set[str]
) -> tuple[Sequence[int], list[dict[str, Any]]]:
    """Return the runs of a form without the empty ones, with their numbers.

    Readings that were not changed keep all their digits.
    """
    runs_by_number: dict[int, dict[str, Any]] = {}
    for number in range(1, len(stored_trial.runs) + 2):
        stored = stored_trial.runs[number - 1] if number <= len(stored_trial.runs) else None
        run = {}
        for name in (*OF_RUN, *LOGGED):
            asked = key(number, name)
            value = values.get(asked) if asked in moved else getattr(stored, name, None)
            if value is not None:
                run[name] = value
        if run:
            runs_by_number[number] = run
    return list(runs_by_number), list(runs_by_number.values())

"""Describe change histories and measurements in words."""

from datetime import datetime
from types import SimpleNamespace
from typing import Any

from sqlmodel import Session, col, select

from api.messages import has_key, say
from api.messages.numbers import localised
from api.models.core.audit import AuditRead
from api.models.core.shapes import Recorded
from api.models.registry.sessions import BenchSession
from api.models.season.reports import LeftOut
from api.models.trials.trials import RunRead, TrialRead
from api.services.core import history
from api.web.field_units import stem, unit_of
from api.web.visitors import Visit

Facts = list[tuple[str, str]]
LONGEST = 120  # [characters] of a value in the history
MOST_CHANGES = 25  # shown on a page: each may hold three long series of readings, twice


def history_of(
    db: Session, visited: Visit, table: type[Recorded], row_id: str
) -> list[dict[str, Any]]:
    """Return the newest changes of a thing, oldest first; the API has all of them."""
    entries = history.newest_of_thing(db, visited.caller, table, row_id, MOST_CHANGES)
    return [_entry_in_words(entry) for entry in entries]


def _entry_in_words(entry: AuditRead) -> dict[str, Any]:
    """Return an audit entry as a line: when, who, what, why."""
    action = f"action.{entry.action}"
    return {
        "at": entry.created_at,
        "who": entry.key_label,
        "what": say(action) if has_key(action) else entry.action,
        "why": entry.reason or "",
        "changes": [
            say("history.moved", name=name_of(name), before=_short(pair, 0),
                after=_short(pair, 1))
            for name, pair in (entry.changes or {}).items()
        ],
    }  # fmt: skip


def name_of(field: str, *, unit: bool = True) -> str:
    """Return the name of a field on pages, with its unit if wanted."""
    key = f"field.{field}" if has_key(f"field.{field}") else f"field.{stem(field)}"
    measured = unit_of(field) if unit else ""
    called = say(key) if has_key(key) else field.replace("_", " ")
    return f"{called} ({measured})" if measured else called


def with_unit(field: str, value: Any) -> str:
    """Return a value of a field with its unit.

    >>> with_unit("wind_speed_m_s", 4.2), with_unit("pitch_deg", 12.0), with_unit("kind", "record")
    ('4.2 m/s', '12°', 'record')
    """
    unit = unit_of(field)
    text = localised(value, "g") if isinstance(value, float) else str(value)
    return f"{text}{'' if unit in ('', '°') else ' '}{unit}"


def _short(pair: Any, at: int) -> str:
    value = pair[at] if isinstance(pair, list) and len(pair) > at else None
    if isinstance(value, list):
        value = "; ".join(_facts(each) for each in value)
    if isinstance(value, dict):
        value = ", ".join(f"{name_of(name)} {each}" for name, each in value.items())
    return "–" if value is None else str(value)[:LONGEST]


def _facts(run: Any) -> str:
    """Return a run from an audit entry in a few words."""
    if not isinstance(run, dict):
        return str(run)
    return run_in_words(SimpleNamespace(**dict.fromkeys(RunRead.model_fields) | run))


def run_in_words(run: Any) -> str:
    """Return one reading with its units."""
    parts = [
        (run.voltage_v, "V"), (run.current_a, "A"), (run.rotor_speed_rpm, "1/min"),
        (run.wind_speed_m_s, "m/s"), (run.duration_s, "s"),
    ]  # fmt: skip
    readings = [f"{localised(value, 'g')} {unit}" for value, unit in parts if value is not None]
    if run.series_voltage_v:
        readings.append(say("trial.series", count=len(run.series_voltage_v)))
    return ", ".join(readings)


def session_days(db: Session, trials: list[TrialRead]) -> dict[str, datetime]:
    """Return when the sessions of trials began."""
    ids = {trial.session_id for trial in trials}
    rows = select(col(BenchSession.id), col(BenchSession.started_at))
    return dict(db.execute(rows.where(col(BenchSession.id).in_(ids))).all())


def how_sure(trial: TrialRead) -> Facts:
    """Return the figures behind a trial's result, with units."""
    result = trial.result
    numbers = [
        ("wind", result.wind_speed_m_s, ".2f", "{} m/s"),
        ("air_density", result.air_density_kg_m3, ".3f", "{} kg/m³"),
        ("wind_power", result.wind_power_w, ".2f", "{} W"),
        ("coefficient", result.power_coefficient, ".3f", "{}"),
        ("tip_speed_ratio", result.tip_speed_ratio, ".1f", "{}"),
        ("exponent", result.wind_exponent, ".2f", "{}"),
        ("u_own", result.u_own, ".0%", "± {}"),
        ("u_bench", result.u_bench, ".0%", "± {}"),
        ("u_total", result.u_total, ".0%", "± {}"),
    ]
    return [
        (say(f"trial.{key}"), form.format(localised(value, spec)))
        for key, value, spec, form in numbers
        if value is not None
    ]


def left_out_in_words(left: list[LeftOut]) -> list[str]:
    """Return sentences on the trials that a page's numbers leave out."""
    return [say("page.trials_left_out", count=each.trials, why=each.sentence) for each in left]

"""Describe the effect of accepting a proposal, for its button."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlmodel import Session

from api.messages import say
from api.models.measurements.flags import FlagRead
from api.models.trials.trials import Run
from api.services.trials import trials
from api.web.descriptions import name_of, with_unit

Runs = Mapping[str, Sequence[Run]]
SHOWN = 5  # readings on a button


def buttons(db: Session, flags: Iterable[FlagRead]) -> dict[str, str]:
    """Return the words on the button of each flag with a proposal, by the flag's id."""
    proposing = [flag for flag in flags if flag.proposed_fix]
    runs = trials.runs_of(db, [flag.trial_id for flag in proposing if flag.trial_id])
    return {flag.id: in_words(flag, runs.get(flag.trial_id or "", ())) for flag in proposing}


def in_words(flag: FlagRead, runs: Sequence[Any]) -> str:
    """Return words for the values that accepting a flag's proposal would store."""
    fix = flag.proposed_fix or {}
    if "changes" in fix:
        return say(f"flag.change_{fix['thing']}", what=_values(fix["changes"]))
    name = "voltage_v" if "scale_volts" in fix else "wind_speed_m_s"
    factor = fix.get("scale_volts") or fix["scale_wind"]
    chosen = [run for run in runs if fix.get("run") in (None, run.number)]
    values = [_scaled(run, name, factor) for run in chosen]
    if "run" in fix:
        return say("flag.change_reading", number=fix["run"], value=values[0] if values else "")
    more = " …" if len(values) > SHOWN else ""
    return say("flag.change_readings", values=", ".join(values[:SHOWN]) + more)


def _values(changes: Mapping[str, Any]) -> str:
    return ", ".join(
        say("flag.becomes", name=name_of(field, unit=False), value=with_unit(field, value))
        for field, value in changes.items()
    )


def _scaled(run: Any, name: str, factor: float) -> str:
    value = getattr(run, name)
    if value is None:
        return say("trial.series", count=len(run.series_voltage_v or ()))
    return with_unit(name, float(f"{value * factor:.4g}"))

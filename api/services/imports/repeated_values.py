"""Validate the trials of a sheet, each different setting and each different reading once.

A meter shows a few hundred different numbers in a season, and a team tests few settings: most of a
large sheet repeats what was validated before.
"""

from functools import lru_cache
from typing import Any

from pydantic import TypeAdapter

from api.models.core.fields import ClientRef, Note
from api.models.trials.trials import MOST_RUNS, RunCreate, TrialCreate

Values = tuple[tuple[str, Any], ...]
#: Ids that are well formed, until the names in the rows are looked up.
STAND_IN = {"session_id": "ses_" + "0" * 26, "build_id": "bld_" + "0" * 26}
SOUND_RUNS = [{"voltage_v": 1.0}]
TEXTS: TypeAdapter[tuple[str | None, str | None]] = TypeAdapter(
    tuple[ClientRef | None, Note | None]
)
#: The facts that differ from trial to trial.
OWN = ("client_ref", "note", "runs")


def validated(facts: dict[str, Any]) -> TrialCreate:
    """Return what `TrialCreate.model_validate` makes of facts, with stand-ins for the two ids.

    Trials share the objects of equal runs. Raise a `ValidationError` if a value is refused; it may
    name the value's place without the trial's.
    """
    setting = tuple(item for item in facts.items() if item[0] not in OWN)
    runs = [tuple(run.items()) for run in facts["runs"]]
    if not 1 <= len(runs) <= MOST_RUNS or any(map(_has_list, (setting, *runs))):
        return TrialCreate.model_validate(STAND_IN | facts)
    trial = _setting(setting)
    client_ref, note = TEXTS.validate_python((facts["client_ref"], facts["note"]))
    own = {"client_ref": client_ref, "note": note, "runs": list(map(_run, runs))}
    return trial.model_copy(update=own)


def _has_list(values: Values) -> bool:
    """Tell whether a cell has several numbers: a cache cannot look such values up."""
    return any(isinstance(value, list) for _, value in values)


@lru_cache(maxsize=4096)
def _setting(values: Values) -> TrialCreate:
    own = {"client_ref": None, "note": None, "runs": SOUND_RUNS}
    return TrialCreate.model_validate(STAND_IN | dict(values) | own)


@lru_cache(maxsize=8192)
def _run(values: Values) -> RunCreate:
    return RunCreate.model_validate(dict(values))

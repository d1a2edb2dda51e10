"""The sentences of a flag: those of its rule, with the values that the check saw."""

from typing import Any

from babel.lists import format_list

from analysis.checks.view import Finding
from api.messages import current_language, say
from api.messages.languages import locale_of
from api.messages.numbers import localised


def facts_of(finding: Finding) -> dict[str, Any]:
    """Return the stored facts of a finding, from which its sentences are made in any language."""
    return {
        "variant": finding.variant,
        "values": finding.facts,
        "is_fix_withdrawn": finding.is_fix_withdrawn,
    }


def words_of(rule: str, severity: str, facts: dict[str, Any]) -> dict[str, str]:
    """Return the message and the advice of a flag.

    A flag from an earlier version of the schema has both stored as text.

    >>> words_of("cold_fan", "warn", {"values": {"value": 2.0}})["message"]
    'The fan ran for 2 min before the first run, and a fan slows as it warms.'
    """
    if "message" in facts:
        return {"message": facts["message"], "advice": facts["advice"]}
    name, variant = f"{rule}_{severity}", facts.get("variant")
    values = {key: _shown(value) for key, value in facts.get("values", {}).items()}
    message = say(f"check.{name}_{variant}" if variant else f"check.{name}", **values)
    if facts.get("is_fix_withdrawn"):
        return {
            "message": say("check_fix.message", message=message),
            "advice": say("check_fix.advice"),
        }
    return {"message": message, "advice": say(f"check_advice.{name}", **values)}


def _shown(value: Any) -> Any:
    """Return a value for a sentence; several readings become a list of volts."""
    if not isinstance(value, list):
        return value
    volts = [f"{localised(each, '.4g')} V" for each in value]
    return format_list(volts, locale=locale_of(current_language()))

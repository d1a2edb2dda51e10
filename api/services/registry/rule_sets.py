"""Validate rule sets, and turn them into the checks of builds."""

import hashlib
from typing import Any

from pydantic import ValidationError

from analysis.event.rules import FACTS, UNITS, Check, Value
from api.errors import Conflict
from api.messages import say
from api.models.core.shapes import Input
from api.models.core.validation import invalid
from api.models.registry.rule_sets import PULL_TEST_ID, Rule, RuleSet

#: Required of every build, even if the rules do not ask for it: safety of the public.
PULL_TEST = Rule.model_validate(
    {
        "id": PULL_TEST_ID,
        "words": "Each blade holds twice its pull at run-away",
        "kind": "inspection",
        "op": ">=",
        "value_from": "safety.pull_test_n",
        "unit": "N",
    }
)


def checked(data: dict[str, Any] | None) -> dict[str, Any] | None:
    """Return a rule set as it is stored; refuse an invalid one, with the path of the fault."""
    if data is None:
        return None
    try:
        rules = RuleSet.model_validate(data)
    except ValidationError as error:
        raise invalid(error, {"rule_set": data}, prefix=("rule_set",)) from error
    return rules.model_dump(mode="json", exclude_unset=True)


def checked_change(changes: Input) -> dict[str, Any]:
    """Return the validated rule set of a change, if the change has one."""
    asked = changes.model_dump(include={"rule_set"}, exclude_unset=True)
    return {name: checked(value) for name, value in asked.items()}


def digest_of(rule: Rule) -> str:
    """Return a digest of a rule, to detect that it changed after an inspection."""
    rule_json = rule.model_dump_json(exclude={"severity"})
    return hashlib.sha256(rule_json.encode()).hexdigest()[:16]


def rules_of(stored: dict[str, Any]) -> list[Rule]:
    """Return the rules of a stored set, with the pull test if the set has none."""
    try:
        rules = RuleSet.model_validate(stored).checks
    except ValidationError as error:  # stored by a version that did not validate it
        raise Conflict(say("refused.stored_rules")) from error
    return rules if any(rule.id == PULL_TEST.id for rule in rules) else [*rules, PULL_TEST]


def to_check(rule: Rule) -> Check:
    """Return a rule for the engine, with its limits in the units of the facts."""
    factor = factor_of(rule)
    touches = rule.touches
    if rule.kind == "inspection" and not touches:
        touches = tuple(name for name in FACTS if name.startswith(("build.", "turbine.")))
    return Check(
        id=rule.id,
        words=words_of(rule),
        severity=rule.severity,
        kind=rule.kind,
        field=rule.field or "",
        operator=rule.op or "",
        limit=_limit(rule.value, factor),
        limit_from=rule.value_from or "",
        tolerance=rule.tolerance * factor,
        touches=touches,
    )


def words_of(rule: Rule) -> str:
    """Return the words of a rule; the built-in pull test is translated."""
    return say("rule_set.pull_test") if rule == PULL_TEST else rule.words


def factor_of(rule: Rule) -> float:
    """Return the factor from the unit of a rule to the unit of its fact."""
    unit = unit_of(rule)
    for family in UNITS.values():
        if unit in family:
            return family[unit]
    return 1.0


def unit_of(rule: Rule) -> str:
    """Return the unit of a rule's numbers."""
    fact = rule.field or rule.value_from
    return rule.unit or (FACTS[fact] if fact else "")


def _limit(value: Any, factor: float) -> float | str | tuple[Value, ...] | None:
    if isinstance(value, list):
        return tuple(each if isinstance(each, str) else each * factor for each in value)
    return value * factor if isinstance(value, int | float) else value


def schema() -> dict[str, Any]:
    """Return the JSON Schema of a rule set."""
    json_schema = RuleSet.model_json_schema()
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Rule set",
        **json_schema,
    }


def example() -> dict[str, Any]:
    """Return a rule set of an invented region, to begin with."""
    checks = [_in_words(check) for check in EXAMPLE_CHECKS]
    metric = {"load": "free", "duration_s": 30, "best_of": 2}
    return {"name": say("rule_set.example"), "version": 1, "metric": metric, "checks": checks}


def _in_words(check: dict[str, Any]) -> dict[str, Any]:
    """Return a check of the example with its words, and those of the items to inspect."""
    translated = {"id": check["id"], "words": say(f"rule_set.{check['id']}"), **check}
    if "items" in check:
        translated["items"] = [say(f"rule_set.{item}") for item in check["items"]]
    return translated


#: The checks of the example, with keys of messages for `items`.
EXAMPLE_CHECKS: tuple[dict[str, Any], ...] = (
    {"id": "rotor_size", "kind": "limit", "field": "build.rotor_diameter_m", "op": "<=",
     "value": 60, "unit": "cm", "tolerance": 0.2},
    {"id": "generator", "kind": "limit", "field": "generator.class", "op": "in",
     "value": ["A", "B", "C"]},
    {"id": "gears", "kind": "limit", "field": "turbine.gear_ratio", "op": "<=", "value": 6},
    {"id": "foot", "kind": "limit", "field": "turbine.tower_side_m", "op": "<=", "value": 50,
     "unit": "cm", "tolerance": 0.5},
    {"id": "stands", "kind": "limit", "field": "safety.tipping_ratio", "op": ">=", "value": 1.5},
    {"id": "materials", "kind": "declared", "field": "build.material"},
    {"id": "hazards", "kind": "inspection",
     "items": ["no_metal", "no_glass", "no_sharp_tips", "no_stored_energy"],
     "touches": ["build.material", "build.blade_count", "build.blade_fixing"]},
    {"id": "pull_test", "kind": "inspection", "op": ">=", "value_from": "safety.pull_test_n",
     "unit": "N"},
    {"id": "fixing", "kind": "limit", "field": "build.blade_fixing", "op": "in",
     "value": ["screwed", "pinned", "glued", "moulded"]},
    {"id": "practised", "severity": "should", "kind": "limit",
     "field": "trials.days_since_record", "op": "<=", "value": 14},
    {"id": "spares", "severity": "should", "kind": "inspection",
     "items": ["one_blade", "two_dowels"], "touches": ["build.blade_count"]},
)  # fmt: skip

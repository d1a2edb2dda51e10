"""Rule sets: checked when they come, and turned into the checks that builds are held against."""

import hashlib
from typing import Any

from pydantic import ValidationError

from analysis.event.rules import FACTS, UNITS, Check, Value
from api.errors import Conflict
from api.models.core.shapes import Input
from api.models.core.validation import invalid
from api.models.registry.rule_sets import PULL_TEST_ID, Rule, RuleSet

#: Asked of every build, whatever the rules say: without it no blade should spin in public.
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
    """Return a rule set as it is stored; refuse what no rule can say, with its path."""
    if data is None:
        return None
    try:
        rules = RuleSet.model_validate(data)
    except ValidationError as error:
        raise invalid(error, {"rule_set": data}, prefix=("rule_set",)) from error
    return rules.model_dump(mode="json", exclude_unset=True)


def checked_change(changes: Input) -> dict[str, Any]:
    """Return the rule set that a change brings, checked, if it brings one."""
    asked = changes.model_dump(include={"rule_set"}, exclude_unset=True)
    return {name: checked(value) for name, value in asked.items()}


def digest_of(rule: Rule) -> str:
    """Return what tells a rule from what it was when somebody looked."""
    rule_json = rule.model_dump_json(exclude={"severity"})
    return hashlib.sha256(rule_json.encode()).hexdigest()[:16]


def rules_of(stored: dict[str, Any]) -> list[Rule]:
    """Return the rules of a stored set, and the pull test where it does not ask for one itself."""
    try:
        rules = RuleSet.model_validate(stored).checks
    except ValidationError as error:  # stored by a version that did not look at it
        raise Conflict("the stored rule set cannot be read: send it again") from error
    return rules if any(rule.id == PULL_TEST.id for rule in rules) else [*rules, PULL_TEST]


def to_check(rule: Rule) -> Check:
    """Return a rule as the engine takes it: limits in the facts' own units."""
    factor = factor_of(rule)
    touches = rule.touches
    if rule.kind == "inspection" and not touches:
        touches = tuple(name for name in FACTS if name.startswith(("build.", "turbine.")))
    return Check(
        id=rule.id,
        words=rule.words,
        severity=rule.severity,
        kind=rule.kind,
        field=rule.field or "",
        operator=rule.op or "",
        limit=_limit(rule.value, factor),
        limit_from=rule.value_from or "",
        tolerance=rule.tolerance * factor,
        touches=touches,
    )


def factor_of(rule: Rule) -> float:
    """Return how many of its fact's unit one of a rule's is."""
    unit = unit_of(rule)
    for family in UNITS.values():
        if unit in family:
            return family[unit]
    return 1.0


def unit_of(rule: Rule) -> str:
    """Return the unit that a rule's numbers are in."""
    fact = rule.field or rule.value_from
    return rule.unit or (FACTS[fact].unit if fact else "")


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


#: A rule set of an invented region, to begin with.
EXAMPLE: dict[str, Any] = {
    "name": "Example rules",
    "version": 1,
    "metric": {"load": "free", "duration_s": 30, "best_of": 2},
    "checks": [
        {"id": "rotor_size", "words": "Rotor no wider than 60 cm", "kind": "limit",
         "field": "build.rotor_diameter_m", "op": "<=", "value": 60, "unit": "cm",
         "tolerance": 0.2},
        {"id": "generator", "words": "Generator of class A, B or C", "kind": "limit",
         "field": "generator.class", "op": "in", "value": ["A", "B", "C"]},
        {"id": "gears", "words": "Gears of at most 6 to 1", "kind": "limit",
         "field": "turbine.gear_ratio", "op": "<=", "value": 6},
        {"id": "foot", "words": "Tower on a foot of at most 50 cm", "kind": "limit",
         "field": "turbine.tower_side_m", "op": "<=", "value": 50, "unit": "cm", "tolerance": 0.5},
        {"id": "stands", "words": "Tower stability of at least 1.5",
         "kind": "limit", "field": "safety.tipping_ratio", "op": ">=", "value": 1.5},
        {"id": "materials", "words": "Blade material is declared", "kind": "declared",
         "field": "build.material"},
        {"id": "hazards", "words": "Nothing that can cut or shatter", "kind": "inspection",
         "items": ["no metal blades", "no glass or brittle plastic", "no sharp tips",
                   "no stored energy"],
         "touches": ["build.material", "build.blade_count", "build.blade_fixing"]},
        {"id": "pull_test", "words": "Each blade holds twice its pull at run-away",
         "kind": "inspection", "op": ">=", "value_from": "safety.pull_test_n", "unit": "N"},
        {"id": "fixing", "words": "Blades screwed, pinned, glued or moulded, no push fit alone",
         "kind": "limit", "field": "build.blade_fixing", "op": "in",
         "value": ["screwed", "pinned", "glued", "moulded"]},
        {"id": "practised", "words": "A record trial in the last two weeks", "severity": "should",
         "kind": "limit", "field": "trials.days_since_record", "op": "<=", "value": 14},
        {"id": "spares", "words": "A spare blade and two dowels in the box", "severity": "should",
         "kind": "inspection", "items": ["one blade", "two dowels"],
         "touches": ["build.blade_count"]},
    ],
}  # fmt: skip

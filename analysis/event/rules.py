"""Check a build against an event's rules: each is met, broken or not shown.

A rule is never met by an unknown value. A number beyond its limit by no more than its tolerance
does not break the rule yet: it must be measured again with the event's own gauge. This is the
reading of JCGM 106:2012 in which measurement uncertainty counts in favour of the team.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

Outcome = Literal["pass", "fail", "not_shown"]
Severity = Literal["must", "should"]
Status = Literal["not ready", "open", "nearly", "ready"]
Value = float | str | None

OPERATORS = ("<=", ">=", "==", "in")
ROUNDING = 1e-9  # of numbers that were converted from another unit


#: Facts that a rule may ask about, each with its unit; empty for text.
FACTS: dict[str, str] = {
    "build.rotor_diameter_m": "m",
    "build.blade_count": "1",
    "build.chord_root_m": "m",
    "build.chord_tip_m": "m",
    "build.blade_mass_kg": "kg",
    "build.blade_balance_radius_m": "m",
    "build.blade_fixing": "",
    "build.material": "",
    "build.pitch_deg": "deg",
    "build.load_ohm": "ohm",
    "turbine.gear_ratio": "1",
    "turbine.tower_side_m": "m",
    "turbine.tower_mass_kg": "kg",
    "generator.class": "",
    "team.size": "1",
    "team.entry_class": "",
    "team.age_band": "",
    "trials.days_since_record": "d",
    "safety.runaway_tip_speed_m_s": "m/s",
    "safety.blade_force_n": "N",
    "safety.blade_energy_j": "J",
    "safety.pull_test_n": "N",
    "safety.tipping_ratio": "1",
}
#: Factors from other units to the unit of a fact.
UNITS: dict[str, dict[str, float]] = {
    "m": {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254},
    "kg": {"kg": 1.0, "g": 0.001},
    "ohm": {"ohm": 1.0, "kohm": 1000.0},
    "deg": {"deg": 1.0},
    "d": {"d": 1.0},
    "m/s": {"m/s": 1.0},
    "N": {"N": 1.0, "kgf": 9.80665},
    "J": {"J": 1.0},
    "1": {"1": 1.0},
}


@dataclass(frozen=True, slots=True)
class Check:
    """One requirement of the rules, in the units of the facts.

    A `limit` compares a fact; a `declared` one only needs a known fact; an `inspection` is done by
    a person, who may measure a value against the same kind of limit. `limit_from` names a fact that
    is the limit.
    """

    id: str
    words: str
    severity: Severity
    kind: Literal["limit", "declared", "inspection"]
    field: str = ""
    operator: str = ""
    limit: float | str | tuple[Value, ...] | None = None
    limit_from: str = ""
    tolerance: float = 0.0
    touches: tuple[str, ...] = ()

    @property
    def depends_on(self) -> tuple[str, ...]:
        """Return the facts whose change makes a new inspection necessary."""
        named = (self.field, self.limit_from, *self.touches)
        return tuple(name for name in dict.fromkeys(named) if name and not _moves_by_itself(name))


@dataclass(frozen=True, slots=True)
class Inspected:
    """Result of an inspection, and the facts that it depended on at that time.

    `is_current` is false if the rule was changed since, or applies to another build only.
    """

    outcome: Outcome
    measured: float | None
    facts_then: Mapping[str, Value]
    is_current: bool = True


@dataclass(frozen=True, slots=True)
class Judgement:
    """Result of a check.

    `reason` says why it is not met: unknown, beyond, doubtful, not_inspected, changed, found.
    """

    outcome: Outcome
    value: Value
    limit: float | str | tuple[Value, ...] | None
    reason: str


def _moves_by_itself(name: str) -> bool:
    return name.startswith("trials.")


def judge(check: Check, facts: Mapping[str, Value], inspected: Inspected | None) -> Judgement:
    """Return the result of a check.

    Parameters
    ----------
    check : Check
        The requirement.
    facts : mapping of str to number, str or None
        Facts of the build, in the units of `FACTS`.
    inspected : Inspected or None
        The newest inspection of it; it counts while the facts that it depended on are unchanged.

    Returns
    -------
    Judgement
        An inspection takes precedence over a declared value.

    Examples
    --------
    >>> size = Check("size", "", "must", "limit", "build.rotor_diameter_m", "<=", 0.6,
    ...              tolerance=0.002)
    >>> [judge(size, {"build.rotor_diameter_m": each}, None).outcome for each in (0.6, 0.601, 0.61)]
    ['pass', 'not_shown', 'fail']
    """
    limit = facts.get(check.limit_from) if check.limit_from else check.limit
    if inspected is not None and inspected.outcome != "not_shown":
        moved = any(facts.get(name) != then for name, then in inspected.facts_then.items())
        if moved or not inspected.is_current:
            return Judgement("not_shown", inspected.measured, limit, "changed")
        return _by_inspection(check, inspected, limit)
    if check.kind == "inspection":
        return Judgement("not_shown", None, limit, "not_inspected")
    value = facts.get(check.field)
    if value is None or value == "":
        return Judgement("not_shown", None, limit, "unknown")
    if check.kind == "declared":
        return Judgement("pass", value, None, "")
    return _compare(check, value, limit)


def _by_inspection(
    check: Check, inspected: Inspected, limit: float | str | tuple[Value, ...] | None
) -> Judgement:
    """Return the result of an inspection; also compare a measured number with the limit.

    A measurement with the official gauge has no tolerance.
    """
    if inspected.outcome == "pass" and check.operator:
        if inspected.measured is not None:
            return _compare(replace(check, tolerance=0.0), inspected.measured, limit)
        if check.kind == "inspection":
            return Judgement("not_shown", None, limit, "not_inspected")
    reason = "" if inspected.outcome == "pass" else "found"
    return Judgement(inspected.outcome, inspected.measured, limit, reason)


def _compare(
    check: Check, value: float | str, limit: float | str | tuple[Value, ...] | None
) -> Judgement:
    if limit is None:
        return Judgement("not_shown", value, limit, "unknown")
    if _holds(check.operator, value, limit, 0.0):
        return Judgement("pass", value, limit, "")
    if check.tolerance and _holds(check.operator, value, limit, check.tolerance):
        return Judgement("not_shown", value, limit, "doubtful")
    return Judgement("fail", value, limit, "beyond")


def _holds(operator: str, value: float | str, limit: object, slack: float) -> bool:
    if isinstance(limit, tuple):
        return any(_holds("==", value, each, slack) for each in limit)
    if isinstance(value, str) or not isinstance(limit, int | float):
        return value == limit
    if operator == "==":
        return abs(value - limit) <= slack + ROUNDING
    if operator == "<=":
        return value <= limit + slack + ROUNDING
    return value >= limit - slack - ROUNDING


def status(judged: Iterable[tuple[Severity, Outcome]]) -> Status:
    """Return how ready a build is: the worst result of its checks.

    Parameters
    ----------
    judged : iterable of (severity, outcome)
        One per check.

    Returns
    -------
    str
        `not ready` if a must is broken, `open` if one is not shown, `nearly` if only a should is
        open or broken, else `ready`.

    Examples
    --------
    >>> status([("must", "pass"), ("should", "not_shown")])
    'nearly'
    """
    results = set(judged)
    if ("must", "fail") in results:
        return "not ready"
    if ("must", "not_shown") in results:
        return "open"
    return "nearly" if results - {("must", "pass"), ("should", "pass")} else "ready"

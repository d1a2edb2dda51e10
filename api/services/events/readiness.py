"""How ready each team is for an event: its build held against the rules, and what to do next."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

from sqlmodel import Session, col, select

from analysis.event.rules import Inspected, Judgement, Status, judge, status
from api.errors import Conflict
from api.messages import has_key, say
from api.messages.numbers import localised
from api.models.events.inspections import CheckState, EventReadiness, Inspection, TeamReadiness
from api.models.registry.events import Event
from api.models.registry.rule_sets import PULL_TEST_ID, Rule
from api.models.registry.seasons import Season
from api.services.core import cautions, resources
from api.services.core.scope import Caller, may_see
from api.services.events import build_facts
from api.services.events.build_facts import Entrant
from api.services.events.inspections import rules_for
from api.services.registry import rule_sets, safety

STATES: tuple[Status, ...] = ("not ready", "open", "nearly", "ready")
LAST_RECORD = "trials.days_since_record"
#: What must be noted before a figure that is computed is known.
MADE_OF = {
    "safety.tipping_ratio": "report_ready.tower",
    "safety.pull_test_n": "fact.build_blade_mass_kg",
    "safety.blade_force_n": "fact.build_blade_mass_kg",
    "safety.blade_energy_j": "fact.build_blade_mass_kg",
}
#: How a limit is asked for.
ASKED = {
    "<=": "report_ready.at_most",
    ">=": "report_ready.at_least",
    "in": "report_ready.one_of",
}
#: What is said first: broken before open, musts before shoulds.
URGENCY = {
    ("must", "fail"): 0, ("must", "not_shown"): 1, ("should", "fail"): 2, ("should", "not_shown"): 3
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Seen:
    """The newest finding of one check of one turbine."""

    inspected: Inspected
    evidence: str | None
    inspector: str
    at: datetime
    build_id: str
    rule: str
    by_lead: bool


def event_readiness(db: Session, caller: Caller, event_id: str) -> EventReadiness:
    """Return how ready the teams are that the caller may see."""
    event = resources.get_row(db, caller, Event, event_id)
    season = resources.get_row(db, caller, Season, event.season_id)
    stored = rules_for(event, season)
    teams: list[TeamReadiness] = []
    reason = None if stored is not None else say("reason.no_rules")
    if stored is not None:
        try:
            rules, seen = rule_sets.rules_of(stored), _seen(db, caller, event)
            entrants = build_facts.entrants(db, caller, event, season)
            teams = [_team(entrant, rules, seen) for entrant in entrants]
        except Conflict as unreadable:
            reason = str(unreadable)
    counts = Counter(team.status for team in teams)
    return EventReadiness(
        event_id=event.id,
        event_name=event.name,
        held_on=event.held_on,
        days_left=(event.held_on - datetime.now(UTC).date()).days,
        as_of=datetime.now(UTC),
        rule_set=stored
        and say("report_ready.rules", name=stored.get("name"), version=stored.get("version", 1)),
        counts={state: counts[state] for state in STATES},
        teams=teams,
        reason=reason,
        cautions=list(cautions.event()),
    )


def _seen(db: Session, caller: Caller, event: Event) -> dict[tuple[str, str], Seen]:
    """Return what was found last of each check of each turbine.

    What was left open says nothing. Of one build a lead's finding is not undone by its own school.
    """
    rows = select(Inspection).where(
        may_see(caller, Inspection), col(Inspection.event_id) == event.id
    )
    seen: dict[tuple[str, str], Seen] = {}
    for row in db.scalars(rows.order_by(col(Inspection.id))):
        for finding in row.findings:
            place = row.turbine_id, finding["check"]
            latest = _newest_finding(row, finding)
            before = seen.get(place)
            is_settled = before is not None and before.by_lead and not latest.by_lead
            if finding["outcome"] != "not_shown" and not (
                is_settled and before is not None and before.build_id == row.build_id
            ):
                seen[place] = latest
    return seen


def _newest_finding(row: Inspection, finding: dict[str, Any]) -> Seen:
    return Seen(
        inspected=Inspected(finding["outcome"], finding["measured"], finding["rested_on"]),
        evidence=finding["evidence"],
        inspector=row.inspector,
        at=row.created_at,
        build_id=row.build_id,
        rule=finding["rule"],
        by_lead=finding["by_lead"],
    )


def _team(
    entrant: Entrant, rules: list[Rule], seen: Mapping[tuple[str, str], Seen]
) -> TeamReadiness:
    build, team = entrant.build, entrant.team
    checks = []
    if build is not None:
        checks = [_check(rule, entrant, seen.get((build.turbine_id, rule.id))) for rule in rules]
    found = status((check.severity, check.outcome) for check in checks) if checks else "open"
    return TeamReadiness(
        team_id=team.id,
        team_name=team.name,
        organisation_id=team.organisation_id,
        build_id=build and build.id,
        build_number=build and build.number,
        build_version=build and build.version,
        status=found,
        next_action=_next_action(checks),
        checks=checks,
        safety=safety.shape(build, entrant.figures) if build and entrant.figures else None,
    )


def _next_action(checks: list[CheckState]) -> str:
    if not checks:
        return say("ready.no_build")
    waiting = [each for each in checks if each.outcome != "pass"]
    if not waiting:
        return say("ready.done")
    return min(waiting, key=lambda each: URGENCY[each.severity, each.outcome]).sentence


def _check(rule: Rule, entrant: Entrant, seen: Seen | None) -> CheckState:
    check, factor = rule_sets.to_check(rule), rule_sets.factor_of(rule)
    found = judge(check, entrant.facts, _as_asked(rule, entrant, seen))
    unit = rule_sets.unit_of(rule)
    value, limit = _in_unit(found.value, factor), _in_unit(found.limit, factor)
    return CheckState(
        id=rule.id,
        words=rule_sets.words_of(rule),
        severity=rule.severity,
        outcome=found.outcome,
        value=value,
        limit=limit,
        unit="" if unit == "1" else unit,
        tolerance=rule.tolerance,
        sentence=_sentence(rule, found, seen, value, limit),
        evidence=seen.evidence if seen else None,
        inspector=seen.inspector if seen else None,
        inspected_at=seen.at if seen else None,
    )


def _as_asked(rule: Rule, entrant: Entrant, seen: Seen | None) -> Inspected | None:
    """Return what was seen, if the rule still reads so; blades are pulled again for each build."""
    if seen is None:
        return None
    is_other = rule.id == PULL_TEST_ID and entrant.build and entrant.build.id != seen.build_id
    asked = seen.rule == rule_sets.digest_of(rule) and not is_other
    return replace(seen.inspected, is_current=asked)


def _in_unit(value: Any, factor: float) -> Any:
    if isinstance(value, tuple):
        return [_in_unit(each, factor) for each in value]
    return float(f"{value / factor:.6g}") if isinstance(value, int | float) else value


def _sentence(rule: Rule, found: Judgement, seen: Seen | None, value: Any, limit: Any) -> str:
    """Return what stands between a check and being met, and what to do."""
    unit = rule_sets.unit_of(rule)
    fact = rule.value_from if rule.kind == "inspection" else rule.field
    reason = found.reason or ("pass" if found.outcome == "pass" else "not_shown")
    if fact in MADE_OF and reason == "unknown":
        reason = "unknown_made"
    if fact == LAST_RECORD and reason in ("beyond", "unknown"):
        reason = "practise"
    evidence = seen.evidence if seen else None
    if reason == "found":
        key = "report_ready.found_so" if evidence else "report_ready.found"
        return say(key, words=rule_sets.words_of(rule), evidence=evidence)
    return say(
        f"ready.{reason}",
        words=rule_sets.words_of(rule),
        fact=say(_key_of(fact)),
        value=_shown(value, unit),
        limit=_asked(rule.op, _shown(limit, unit)),
    )


def _key_of(fact: str | None) -> str:
    """Return the key of what is to be noted, so that a fact is known."""
    if fact is None:
        return "report_ready.it"
    return MADE_OF.get(fact) or f"fact.{fact.replace('.', '_')}"


def _asked(operator: str | None, limit: str) -> str:
    return say(ASKED[operator], limit=limit) if operator in ASKED else limit


def _plain(value: float) -> str:
    """Return a number with enough digits to tell it from a limit, and never with an exponent.

    >>> _plain(0.52741), _plain(45.02), _plain(1300.0), _plain(60.0)
    ('0.527', '45.02', '1300', '60')
    """
    text = f"{value:.3f}" if abs(value) < 1 else f"{value:.2f}"
    decimals = len(text.rstrip("0").partition(".")[2])
    return localised(value, f".{decimals}f")


def _shown(value: Any, unit: str) -> str:
    """Return a value as it is read out.

    >>> _shown(["screwed", "push_fit", 2], ""), _shown(60, "cm")
    ('screwed, push fit or 2', '60 cm')
    """
    if isinstance(value, list):
        *some, last = [_shown(each, "") for each in value] or [""]
        return say("report_words.either", some=", ".join(some), last=last) if some else last
    words = _plain(value) if isinstance(value, int | float) else _named(str(value))
    return f"{words} {unit}" if unit and unit != "1" else words


def _named(code: str) -> str:
    """Return a word of the record as people say it; free text stays as it is."""
    key = f"report_value.{code}"
    return say(key) if has_key(key) else code.replace("_", " ")

"""Check each team for an event: its build against the rules, and its next action."""

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
#: The fact that must be entered before a computed figure is known.
MADE_OF = {
    "safety.tipping_ratio": "report_ready.tower",
    "safety.pull_test_n": "fact.build_blade_mass_kg",
    "safety.blade_force_n": "fact.build_blade_mass_kg",
    "safety.blade_energy_j": "fact.build_blade_mass_kg",
}
#: The message keys for limits.
ASKED = {
    "<=": "report_ready.at_most",
    ">=": "report_ready.at_least",
    "in": "report_ready.one_of",
}
#: The order of next actions: failed before open, must before should.
URGENCY = {
    ("must", "fail"): 0, ("must", "not_shown"): 1, ("should", "fail"): 2, ("should", "not_shown"): 3
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class LatestFinding:
    """The latest finding of one check of one turbine."""

    inspected: Inspected
    evidence: str | None
    inspector: str
    at: datetime
    build_id: str
    rule: str
    by_lead: bool


def event_readiness(db: Session, caller: Caller, event_id: str) -> EventReadiness:
    """Return the readiness of the teams that the caller may see."""
    event = resources.get_row(db, caller, Event, event_id)
    season = resources.get_row(db, caller, Season, event.season_id)
    stored = rules_for(event, season)
    teams: list[TeamReadiness] = []
    reason = None if stored is not None else say("reason.no_rules")
    if stored is not None:
        try:
            rules, findings = rule_sets.rules_of(stored), _latest_findings(db, caller, event)
            entrants = build_facts.entrants(db, caller, event, season)
            teams = [_team(entrant, rules, findings) for entrant in entrants]
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


def _latest_findings(
    db: Session, caller: Caller, event: Event
) -> dict[tuple[str, str], LatestFinding]:
    """Return the latest finding of each check of each turbine.

    Open findings are ignored. A school cannot override a lead's finding on the same build.
    """
    rows = select(Inspection).where(
        may_see(caller, Inspection), col(Inspection.event_id) == event.id
    )
    findings: dict[tuple[str, str], LatestFinding] = {}
    for row in db.scalars(rows.order_by(col(Inspection.id))):
        for finding in row.findings:
            place = row.turbine_id, finding["check"]
            latest = _newest_finding(row, finding)
            before = findings.get(place)
            is_settled = before is not None and before.by_lead and not latest.by_lead
            if finding["outcome"] != "not_shown" and not (
                is_settled and before is not None and before.build_id == row.build_id
            ):
                findings[place] = latest
    return findings


def _newest_finding(row: Inspection, finding: dict[str, Any]) -> LatestFinding:
    return LatestFinding(
        inspected=Inspected(finding["outcome"], finding["measured"], finding["rested_on"]),
        evidence=finding["evidence"],
        inspector=row.inspector,
        at=row.created_at,
        build_id=row.build_id,
        rule=finding["rule"],
        by_lead=finding["by_lead"],
    )


def _team(
    entrant: Entrant, rules: list[Rule], findings: Mapping[tuple[str, str], LatestFinding]
) -> TeamReadiness:
    build, team = entrant.build, entrant.team
    checks = []
    if build is not None:
        checks = [
            _check(rule, entrant, findings.get((build.turbine_id, rule.id))) for rule in rules
        ]
    team_status = status((check.severity, check.outcome) for check in checks) if checks else "open"
    return TeamReadiness(
        team_id=team.id,
        team_name=team.name,
        organisation_id=team.organisation_id,
        build_id=build and build.id,
        build_number=build and build.number,
        build_version=build and build.version,
        status=team_status,
        next_action=_next_action(checks),
        checks=checks,
        safety=safety.shape(build, entrant.figures) if build and entrant.figures else None,
    )


def _next_action(checks: list[CheckState]) -> str:
    if not checks:
        return say("ready.no_build")
    unmet = [each for each in checks if each.outcome != "pass"]
    if not unmet:
        return say("ready.done")
    return min(unmet, key=lambda each: URGENCY[each.severity, each.outcome]).sentence


def _check(rule: Rule, entrant: Entrant, latest: LatestFinding | None) -> CheckState:
    check, factor = rule_sets.to_check(rule), rule_sets.factor_of(rule)
    judgement = judge(check, entrant.facts, _as_asked(rule, entrant, latest))
    unit = rule_sets.unit_of(rule)
    value, limit = _in_unit(judgement.value, factor), _in_unit(judgement.limit, factor)
    return CheckState(
        id=rule.id,
        words=rule_sets.words_of(rule),
        severity=rule.severity,
        outcome=judgement.outcome,
        value=value,
        limit=limit,
        unit="" if unit == "1" else unit,
        tolerance=rule.tolerance,
        sentence=_sentence(rule, judgement, latest, value, limit),
        evidence=latest.evidence if latest else None,
        inspector=latest.inspector if latest else None,
        inspected_at=latest.at if latest else None,
    )


def _as_asked(rule: Rule, entrant: Entrant, latest: LatestFinding | None) -> Inspected | None:
    """Return a finding; it is out of date if its rule changed, or the pull test has a new build."""
    if latest is None:
        return None
    is_other = rule.id == PULL_TEST_ID and entrant.build and entrant.build.id != latest.build_id
    asked = latest.rule == rule_sets.digest_of(rule) and not is_other
    return replace(latest.inspected, is_current=asked)


def _in_unit(value: Any, factor: float) -> Any:
    if isinstance(value, tuple):
        return [_in_unit(each, factor) for each in value]
    return float(f"{value / factor:.6g}") if isinstance(value, int | float) else value


def _sentence(
    rule: Rule, judgement: Judgement, latest: LatestFinding | None, value: Any, limit: Any
) -> str:
    """Return a sentence on why a check is met or not, and what to do."""
    unit = rule_sets.unit_of(rule)
    fact = rule.value_from if rule.kind == "inspection" else rule.field
    reason = judgement.reason or ("pass" if judgement.outcome == "pass" else "not_shown")
    if fact in MADE_OF and reason == "unknown":
        reason = "unknown_made"
    if fact == LAST_RECORD and reason in ("beyond", "unknown"):
        reason = "practise"
    evidence = latest.evidence if latest else None
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
    """Return the message key of the fact that must be entered."""
    if fact is None:
        return "report_ready.it"
    return MADE_OF.get(fact) or f"fact.{fact.replace('.', '_')}"


def _asked(operator: str | None, limit: str) -> str:
    return say(ASKED[operator], limit=limit) if operator in ASKED else limit


def _plain(value: float) -> str:
    """Return a number with enough digits to distinguish it from a limit, without an exponent.

    >>> _plain(0.52741), _plain(45.02), _plain(1300.0), _plain(60.0)
    ('0.527', '45.02', '1300', '60')
    """
    text = f"{value:.3f}" if abs(value) < 1 else f"{value:.2f}"
    decimals = len(text.rstrip("0").partition(".")[2])
    return localised(value, f".{decimals}f")


def _shown(value: Any, unit: str) -> str:
    """Return a value with its unit, as text.

    >>> _shown(["screwed", "push_fit", 2], ""), _shown(60, "cm")
    ('screwed, push fit or 2', '60 cm')
    """
    if isinstance(value, list):
        *others, last = [_shown(each, "") for each in value] or [""]
        return say("report_words.either", some=", ".join(others), last=last) if others else last
    words = _plain(value) if isinstance(value, int | float) else _named(str(value))
    return f"{words} {unit}" if unit and unit != "1" else words


def _named(code: str) -> str:
    """Return the translation of a stored code; free text stays unchanged."""
    key = f"report_value.{code}"
    return say(key) if has_key(key) else code.replace("_", " ")

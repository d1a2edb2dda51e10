"""Store inspections of builds by an event's rules; each finding has the facts it depends on."""

from typing import Any

from sqlmodel import Session, col, func, select

from api.errors import Conflict, FieldError, Invalid
from api.messages import say
from api.models.core.validation import nearest
from api.models.events.inspections import (
    Finding,
    Inspection,
    InspectionCreate,
    InspectionQuery,
    InspectionRead,
)
from api.models.registry.builds import Build
from api.models.registry.events import Event
from api.models.registry.rule_sets import Rule
from api.models.registry.seasons import Season
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.events import build_facts
from api.services.events.build_facts import Entrant
from api.services.registry import rule_sets


def rules_for(event: Event, season: Season) -> dict[str, Any] | None:
    """Return the rule set of an event: its own, or else the season's."""
    return event.rule_set or season.rule_set


def inspect(
    db: Session, caller: Caller, event_id: str, inspection: InspectionCreate
) -> InspectionRead:
    """Store the findings of an inspector about the current state of a build."""
    event = resources.get_row(db, caller, Event, event_id)
    season = resources.get_row(db, caller, Season, event.season_id)
    build = resources.get_row(db, caller, Build, inspection.build_id, "build_id")
    if build.organisation_id is None:
        raise Invalid(say("report_refused.rotor_not_inspected"))
    require_owner(caller, build.organisation_id)
    revisions.raise_season(db, season.id)
    resources.lock(db, build)
    _require_newest(db, build, inspection.build_version)
    rules = rule_sets.rules_of(_require_rules(event, season))
    entrant = build_facts.entrant_of(db, event, season, build)
    if entrant.team.season_id != season.id:
        raise Conflict(say("report_refused.other_season"))
    by_lead = caller.reaches_all
    findings = [
        _stored_finding(finding, at, rules, entrant, by_lead=by_lead)
        for at, finding in enumerate(inspection.findings)
    ]
    row = resources.store(
        db, caller, Inspection, inspection, event_id=event.id, season_id=season.id,
        organisation_id=build.organisation_id, turbine_id=build.turbine_id, findings=findings,
    )  # fmt: skip
    return resources.read(InspectionRead, row)


def _require_newest(db: Session, build: Build, version: int) -> None:
    """Refuse an inspection of an older build, or of an older version of the build."""
    latest = db.scalar(
        select(func.max(Build.number)).where(col(Build.turbine_id) == build.turbine_id)
    )
    if latest != build.number:
        raise Conflict(say("report_refused.older_build", latest=latest))
    if build.version != version:
        raise Conflict(
            say("report_refused.build_changed", number=build.number, version=build.version)
        )


def _require_rules(event: Event, season: Season) -> dict[str, Any]:
    rules = rules_for(event, season)
    if rules is None:
        raise Conflict(say("report_refused.no_rules"))
    return rules


def _stored_finding(
    finding: Finding, at: int, rules: list[Rule], entrant: Entrant, *, by_lead: bool
) -> dict[str, Any]:
    """Return a finding with the facts it depends on, and its value in the fact's own unit."""
    rule_of = {rule.id: rule for rule in rules}
    rule = rule_of.get(finding.check)
    if rule is None:
        words = say("report_refused.no_check", check=finding.check)
        hint = nearest(finding.check, rule_of)
        raise Invalid(words, [FieldError("unknown_check", words, hint, f"/findings/{at}/check")])
    check, factor = rule_sets.to_check(rule), rule_sets.factor_of(rule)
    return finding.model_dump() | {
        "measured": None if finding.measured is None else finding.measured * factor,
        "u": None if finding.u is None else finding.u * factor,
        "rested_on": {name: entrant.facts.get(name) for name in check.depends_on},
        "rule": rule_sets.digest_of(rule),
        "by_lead": by_lead,
    }


def page(
    db: Session, caller: Caller, event_id: str, query: InspectionQuery
) -> tuple[list[InspectionRead], Rest]:
    """Return a page of an event's inspections."""
    event = resources.get_row(db, caller, Event, event_id)
    rows, after = pages.page(db, caller, Inspection, query, col(Inspection.event_id) == event.id)
    return [resources.read(InspectionRead, row) for row in rows], after

"""Inspections of builds by an event's rules, and the readiness of teams."""

from datetime import date, datetime
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, Field
from sqlalchemy import JSON
from sqlmodel import Field as Column

from api.models.core.fields import Label, Reason
from api.models.core.ids import BuildId
from api.models.core.shapes import Answer, Input, ListQuery, Stored
from api.models.registry.rule_sets import MOST_CHECKS, Number, RuleId
from api.models.registry.safety import SafetyRead

Outcome = Literal["pass", "fail", "not_shown"]


class Finding(Input):
    """What an inspector found of one check."""

    check: RuleId
    outcome: Outcome
    measured: Annotated[
        Number | None, Field(description="What was measured, in the check's unit.")
    ] = None
    u: Annotated[Number | None, Field(ge=0, description="Its standard uncertainty, same unit.")] = (
        None
    )
    evidence: Annotated[Reason | None, Field(description="What was seen; nobody's name.")] = None


class InspectionCreate(Input):
    """A build looked at by an event's rules."""

    build_id: BuildId
    build_version: Annotated[
        int, Field(strict=True, ge=1, description="The build's version that was looked at.")
    ]
    inspector: Annotated[Label, Field(description="Role of the adult who looked.")]
    findings: Annotated[list[Finding], Field(min_length=1, max_length=MOST_CHECKS)]


class Inspection(Stored, table=True):
    """A stored inspection; each finding has the facts that it depended on."""

    __tablename__ = "inspection"
    prefix: ClassVar[str] = "insp"

    event_id: str = Column(foreign_key="event.id", index=True)
    season_id: str = Column(foreign_key="season.id", index=True)
    organisation_id: str = Column(foreign_key="organisation.id", index=True)
    turbine_id: str = Column(foreign_key="turbine.id", index=True)
    build_id: str = Column(foreign_key="build.id", index=True)
    build_version: int
    inspector: str
    findings: list[dict[str, Any]] = Column(sa_type=JSON)


class InspectionRead(Answer):
    """An inspection as stored."""

    event_id: str
    season_id: str
    organisation_id: str
    turbine_id: str
    build_id: str
    build_version: int
    inspector: str
    findings: list[dict[str, Any]]


class InspectionQuery(ListQuery):
    """Which inspections to list."""

    build_id: BuildId | None = None


class CheckState(BaseModel):
    """One check of one team's build."""

    id: str
    words: str
    severity: Literal["must", "should"]
    outcome: Outcome
    value: float | str | None
    limit: float | str | list[float | str | None] | None
    unit: str
    tolerance: float
    sentence: Annotated[str, Field(description="Why it is not met, and what to do; or that it is.")]
    evidence: str | None
    inspector: str | None
    inspected_at: datetime | None


class TeamReadiness(BaseModel):
    """How ready one team is."""

    team_id: str
    team_name: str
    organisation_id: str
    build_id: str | None
    build_number: int | None
    build_version: int | None
    status: Literal["not ready", "open", "nearly", "ready"]
    next_action: str
    checks: list[CheckState]
    safety: SafetyRead | None


class EventReadiness(BaseModel):
    """Who is ready for an event."""

    event_id: str
    event_name: str
    held_on: date
    days_left: int
    as_of: datetime
    rule_set: Annotated[str | None, Field(description="Name and version of the rules.")]
    counts: dict[str, int]
    teams: list[TeamReadiness]
    reason: Annotated[str | None, Field(description="Why nothing can be said, if so.")]
    cautions: list[str]

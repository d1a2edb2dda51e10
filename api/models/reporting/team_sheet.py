"""A team's page and an event's sheet as data."""

from datetime import date
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from api.models.core.fields import ReportFormat
from api.models.events.forecast import EventOutlook, EventReview
from api.models.events.inspections import EventReadiness
from api.models.events.runs import EventResults, RunOrderRead
from api.models.season.progress import TeamProgress
from api.models.season.reports import SeasonReport, TeamReport


class TeamEventResult(BaseModel):
    """What a team reached at an event."""

    event_id: str
    name: str
    held_on: date
    place: int
    of_teams: int
    best_w: float | None
    runs: int
    sentence: str


class TeamSheet(BaseModel):
    """Everything that a team's page tells."""

    progress: TeamProgress
    team: TeamReport
    events: Annotated[
        list[TeamEventResult], Field(description="Its results at the season's events so far.")
    ] = []
    report: Annotated[SeasonReport, Field(description="The season's, with this team alone.")]


class EventSheetRead(BaseModel):
    """Everything that an event's sheet tells; an order that was not drawn is null."""

    readiness: EventReadiness
    run_order: RunOrderRead | None
    outlook: EventOutlook
    results: EventResults
    review: EventReview


class SheetQuery(BaseModel):
    """In which format."""

    model_config = ConfigDict(extra="forbid")

    format: Annotated[
        ReportFormat | None,
        Field(description="Left out, Accept decides."),
    ] = None
    excel: Annotated[bool, Field(description="Begin the CSV with a byte order mark.")] = False

"""Read the contents of each printed report."""

from sqlmodel import Session

from api.errors import NotFound
from api.messages import say
from api.models.registry.events import Event
from api.models.registry.teams import Team
from api.models.reporting.team_sheet import EventSheetRead, TeamSheet
from api.models.season.comparison import BenchScoreRead
from api.models.season.reports import SeasonReport
from api.services.core import resources
from api.services.core.scope import Caller
from api.services.events import forecasts, readiness, reviews, run_orders, runs
from api.services.reporting.documents.blocks import Document
from api.services.reporting.documents.season import season_document
from api.services.reporting.documents.team import team_document
from api.services.season import comparisons, progress, reports


def bench_scores(db: Session, caller: Caller, report: SeasonReport) -> list[BenchScoreRead]:
    """Return the scores of the benches of a report that belong to the caller."""
    shown = {bench.bench_id for bench in report.benches}
    scores = comparisons.bench_scores(db, caller, report.season_id)
    return [score for score in scores if score.bench_id in shown]


def season_sheet(db: Session, caller: Caller, report: SeasonReport) -> Document:
    """Return a season report as a document."""
    return season_document(report, bench_scores(db, caller, report))


def team_sheet(db: Session, caller: Caller, team_id: str) -> TeamSheet:
    """Return a team's progress with its part of the season report."""
    team = resources.get_row(db, caller, Team, team_id)
    report = reports.season_report(db, caller, team.season_id, team_id=team.id)
    parts = [each for school in report.organisations for each in school.teams]
    if not parts:
        raise NotFound(say("report_refused.no_team_in_report", team_id=team_id))
    return TeamSheet(
        progress=progress.team_progress(db, caller, team_id),
        report=report,
        team=parts[0],
        events=runs.results_of_team(db, caller, team),
    )


#: The standard words for changed factors; other words are free text.
FACTORS = frozenset(
    {"pitch", "blade count", "blades", "blade shape", "chord", "material", "load", "diameter",
     "generator", "gear ratio", "hub height", "twist"}
)  # fmt: skip


def shared_team_sheet(db: Session, caller: Caller, team_id: str) -> Document:
    """Return a team's page for people without a key, without free text."""
    sheet = team_sheet(db, caller, team_id)
    plain = [each for each in sheet.progress.changes if _is_plain(each.factor)]
    shown = sheet.progress.model_copy(update={"changes": plain})
    return team_document(sheet.model_copy(update={"progress": shown}))


def _is_plain(factor: str | None) -> bool:
    return factor is None or factor.replace("_", " ").lower() in FACTORS


def event_sheet(db: Session, caller: Caller, event_id: str) -> EventSheetRead:
    """Return readiness, order, forecast and results of an event."""
    event = resources.get_row(db, caller, Event, event_id)
    drawn = run_orders.newest_row(db, event)
    return EventSheetRead(
        readiness=readiness.event_readiness(db, caller, event.id),
        run_order=run_orders.newest(db, caller, event.id) if drawn else None,
        outlook=forecasts.event_outlook(db, caller, event.id),
        results=runs.results(db, caller, event.id),
        review=reviews.event_review(db, caller, event.id),
    )

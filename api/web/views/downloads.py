"""Reports to take along: the same documents as over the API, for who is signed in."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Literal

from fastapi import APIRouter, Path
from sqlmodel import Session
from starlette.responses import Response

from api.deps import as_file
from api.models.imports.trial_files import TrialFileQuery
from api.models.season.reports import SeasonReport
from api.services.core.scope import Caller
from api.services.imports import trial_files
from api.services.operations import exports
from api.services.registry import equipment_lists
from api.services.reporting import report_subjects
from api.services.reporting.documents import pdf, spreadsheets
from api.services.reporting.documents.blocks import Document
from api.services.reporting.documents.equipment import equipment_document
from api.services.reporting.documents.event import event_document
from api.services.reporting.documents.team import team_document
from api.services.season import reports
from api.web.visitors import Visit, Visited

router = APIRouter()
Format = Literal["pdf", "csv"]
Id = Annotated[str, Path()]


@dataclass(frozen=True, slots=True)
class Made:
    """Two ways to take one report along; only the one that is asked for is gone."""

    name: str
    csv: Callable[[], str]
    document: Callable[[], Document]

    def sent(self, ending: Format) -> Response:
        """Return the file."""
        body: str | bytes
        if ending == "pdf":
            body, media = pdf.to_pdf(self.document()), "application/pdf"
        else:
            body, media = self.csv(), "text/csv"
        return as_file(body, media, f"{self.name}.{ending}")


def _season(db: Session, caller: Caller, season_id: str) -> Made:
    report = reports.season_report(db, caller, season_id)
    return _of_report("season-report", db, caller, report)


def _school(db: Session, caller: Caller, organisation_id: str) -> Made:
    report = reports.organisation_report(db, caller, organisation_id, None, None)
    return _of_report("school-report", db, caller, report)


def _of_report(name: str, db: Session, caller: Caller, report: SeasonReport) -> Made:
    return Made(name, lambda: spreadsheets.season_csv(report, excel=True),
                lambda: report_subjects.season_sheet(db, caller, report))  # fmt: skip


def _team(db: Session, caller: Caller, team_id: str) -> Made:
    sheet = report_subjects.team_sheet(db, caller, team_id)
    return Made("team-page", lambda: spreadsheets.team_csv(sheet.progress, excel=True),
                lambda: team_document(sheet))  # fmt: skip


def _event(db: Session, caller: Caller, event_id: str) -> Made:
    sheet = report_subjects.event_sheet(db, caller, event_id)
    return Made("event-sheet", lambda: spreadsheets.readiness_csv(sheet.readiness, excel=True),
                lambda: event_document(sheet))  # fmt: skip


def _sent(
    visited: Visit, make: Callable[[Session, Caller, str], Made], row_id: str, ending: Format
) -> Response:
    with visited.reading() as db:
        return make(db, visited.caller, row_id).sent(ending)


@router.get("/seasons/{season_id}/report.{ending}")
def season_file(season_id: Id, ending: Format, visited: Visited) -> Response:
    """Give the season report as a file."""
    return _sent(visited, _season, season_id, ending)


@router.get("/seasons/{season_id}/trials.csv")
def trials_file(season_id: Id, visited: Visited) -> Response:
    """Give a season's trials as a file that an import takes."""
    with visited.reading() as db:
        text = trial_files.season_csv(db, visited.caller, season_id, TrialFileQuery(excel=True))
    return as_file(text, "text/csv", "trials.csv")


@router.get("/schools/{organisation_id}/report.{ending}")
def school_file(organisation_id: Id, ending: Format, visited: Visited) -> Response:
    """Give a school's report as a file."""
    return _sent(visited, _school, organisation_id, ending)


@router.get("/schools/{organisation_id}/everything.zip")
def school_everything(organisation_id: Id, visited: Visited) -> Response:
    """Give all that is a school's own, over all seasons."""
    with visited.reading() as db:
        body = exports.export_organisation(db, visited.caller, organisation_id)
    return as_file(body, "application/zip", "school.zip")


@router.get("/teams/{team_id}/page.{ending}")
def team_file(team_id: Id, ending: Format, visited: Visited) -> Response:
    """Give a team's page as a file."""
    return _sent(visited, _team, team_id, ending)


@router.get("/events/{event_id}/sheet.{ending}")
def event_file(event_id: Id, ending: Format, visited: Visited) -> Response:
    """Give an event's sheet as a file."""
    return _sent(visited, _event, event_id, ending)


@router.get("/equipment-list.{ending}")
def equipment_file(ending: Format, visited: Visited) -> Response:
    """Give the equipment list as a file."""
    with visited.reading() as db:
        listed = equipment_lists.equipment_list(db, visited.caller, None)
        return Made("equipment-list", lambda: spreadsheets.equipment_csv(listed, excel=True),
                    lambda: equipment_document(listed)).sent(ending)  # fmt: skip

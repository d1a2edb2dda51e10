"""Write each report in its formats: JSON, CSV, a workbook, a printable page, PDF."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from sqlmodel import Session

from api.models.registry.equipment_list import EquipmentList
from api.models.season.reports import SeasonReport
from api.services.core.scope import Caller
from api.services.registry import equipment_lists
from api.services.reporting import report_subjects
from api.services.reporting.documents import page, pdf, spreadsheets
from api.services.reporting.documents.blocks import Document
from api.services.reporting.documents.equipment import equipment_document
from api.services.reporting.documents.event import event_document
from api.services.reporting.documents.lines import Lines
from api.services.reporting.documents.quality import quality_document
from api.services.reporting.documents.team import team_document
from api.services.reporting.workbooks import MEDIA_TYPE
from api.services.season import quality, reports

MEDIA = {
    "json": "application/json",
    "csv": "text/csv",
    "xlsx": MEDIA_TYPE,
    "html": "text/html",
    "pdf": "application/pdf",
}


@dataclass(frozen=True, slots=True)
class ReportFile:
    """One report with a writer for each format; only the requested format is made."""

    name: str
    json: Callable[[], str]
    lines: Callable[[], Lines]
    document: Callable[[], Document]

    def writer(self, ending: str, *, excel: bool) -> Callable[[], str | bytes]:
        """Return the writer of a format; all database reads happen in this call.

        Laying out a page takes seconds, and no transaction may stay open meanwhile.
        """
        if ending == "csv":
            return partial(self.lines().to_csv, excel=excel)
        if ending == "xlsx":
            return partial(self.lines().to_workbook, self.name)
        if ending in ("html", "pdf"):
            return partial(page.to_html if ending == "html" else pdf.to_pdf, self.document())
        return self.json


def season_file(
    db: Session,
    caller: Caller,
    season_id: str,
    organisation_id: str | None = None,
    team_id: str | None = None,
) -> ReportFile:
    """Return the report of a season, or of one school or team of it."""
    report = reports.season_report(db, caller, season_id, organisation_id, team_id)
    return _of_season("season-report", db, caller, report)


def organisation_file(
    db: Session,
    caller: Caller,
    organisation_id: str,
    season_id: str | None = None,
    team_id: str | None = None,
) -> ReportFile:
    """Return the report of one school's season."""
    report = reports.organisation_report(db, caller, organisation_id, season_id, team_id)
    return _of_season("school-report", db, caller, report)


def _of_season(name: str, db: Session, caller: Caller, report: SeasonReport) -> ReportFile:
    return ReportFile(
        name,
        report.model_dump_json,
        lambda: spreadsheets.season_lines(report),
        lambda: report_subjects.season_sheet(db, caller, report),
    )


def quality_file(db: Session, caller: Caller, season_id: str) -> ReportFile:
    """Return how well a season measures."""
    measured = quality.season_quality(db, caller, season_id)
    return ReportFile(
        "season-quality",
        measured.model_dump_json,
        lambda: spreadsheets.quality_lines(measured),
        lambda: quality_document(measured),
    )


def team_file(db: Session, caller: Caller, team_id: str) -> ReportFile:
    """Return a team's page."""
    sheet = report_subjects.team_sheet(db, caller, team_id)
    return ReportFile(
        "team-page",
        sheet.model_dump_json,
        lambda: spreadsheets.team_lines(sheet.progress),
        lambda: team_document(sheet),
    )


def event_file(db: Session, caller: Caller, event_id: str) -> ReportFile:
    """Return an event's sheet."""
    sheet = report_subjects.event_sheet(db, caller, event_id)
    return ReportFile(
        "event-sheet",
        sheet.model_dump_json,
        lambda: spreadsheets.readiness_lines(sheet.readiness),
        lambda: event_document(sheet),
    )


def equipment_file(db: Session, caller: Caller, organisation_id: str | None = None) -> ReportFile:
    """Return the equipment list."""
    listed: EquipmentList = equipment_lists.equipment_list(db, caller, organisation_id)
    return ReportFile(
        "equipment-list",
        listed.model_dump_json,
        lambda: spreadsheets.equipment_lines(listed),
        lambda: equipment_document(listed),
    )

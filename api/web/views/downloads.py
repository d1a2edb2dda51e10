"""Download reports: the same documents as over the API, for signed-in visitors."""

from collections.abc import Callable
from typing import Annotated, Literal, TypeVar

from fastapi import APIRouter, Path
from sqlmodel import Session
from starlette.responses import Response

from api.deps import as_file
from api.models.imports.trial_files import TrialFileQuery
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.reporting.results import ResultsQuery
from api.services.core import resources
from api.services.core.scope import Caller, Table
from api.services.imports import trial_files
from api.services.operations import exports
from api.services.reporting import report_formats
from api.services.reporting.report_formats import MEDIA, ReportFile
from api.services.reporting.results.columns import COLUMNS
from api.services.reporting.results.files import MEDIA as RESULTS_MEDIA
from api.services.reporting.results.files import write_results
from api.services.reporting.results.reading import read_results
from api.web.visitors import Visit, Visited

router = APIRouter()
Format = Literal["pdf", "csv", "xlsx"]
Id = Annotated[str, Path()]
Row = TypeVar("Row", str, None)


def _download(
    visited: Visit, make: Callable[[Session, Caller, Row], ReportFile], row_id: Row, ending: Format
) -> Response:
    """Return a report as a file, written once the database is closed."""
    with visited.reading() as db:
        file = make(db, visited.caller, row_id)
        write = file.writer(ending, excel=True)
    return as_file(write(), MEDIA[ending], f"{file.name}.{ending}")


@router.get("/seasons/{season_id}/report.{ending}")
def season_file(season_id: Id, ending: Format, visited: Visited) -> Response:
    """Give the season report as a file."""
    return _download(visited, report_formats.season_file, season_id, ending)


@router.get("/seasons/{season_id}/quality.{ending}")
def quality_file(season_id: Id, ending: Format, visited: Visited) -> Response:
    """Give how well a season measures as a file."""
    return _download(visited, report_formats.quality_file, season_id, ending)


@router.get("/seasons/{season_id}/trials.csv")
def trials_file(season_id: Id, visited: Visited) -> Response:
    """Give a season's trials as a file that an import takes."""
    with visited.reading() as db:
        text = trial_files.season_csv(db, visited.caller, season_id, TrialFileQuery(excel=True))
    return as_file(text, "text/csv", "trials.csv")


@router.get("/schools/{organisation_id}/report.{ending}")
def school_file(organisation_id: Id, ending: Format, visited: Visited) -> Response:
    """Give a school's report as a file."""
    return _download(visited, report_formats.organisation_file, organisation_id, ending)


@router.get("/schools/{organisation_id}/everything.zip")
def school_everything(organisation_id: Id, visited: Visited) -> Response:
    """Give all data of a school, from all seasons."""
    with visited.reading() as db:
        body = exports.export_organisation(db, visited.caller, organisation_id)
    return as_file(body, "application/zip", "school.zip")


@router.get("/teams/{team_id}/page.{ending}")
def team_file(team_id: Id, ending: Format, visited: Visited) -> Response:
    """Give a team's page as a file."""
    return _download(visited, report_formats.team_file, team_id, ending)


@router.get("/events/{event_id}/sheet.{ending}")
def event_file(event_id: Id, ending: Format, visited: Visited) -> Response:
    """Give an event's sheet as a file."""
    return _download(visited, report_formats.event_file, event_id, ending)


@router.get("/seasons/{season_id}/results.xlsx")
def season_results(season_id: Id, visited: Visited) -> Response:
    """Give the results of a season's trials as a workbook."""
    return _results(visited, Season, season_id, "season_id")


@router.get("/schools/{organisation_id}/results.xlsx")
def school_results(organisation_id: Id, visited: Visited) -> Response:
    """Give the results of a school's trials as a workbook."""
    return _results(visited, Organisation, organisation_id, "organisation_id")


@router.get("/teams/{team_id}/results.xlsx")
def team_results(team_id: Id, visited: Visited) -> Response:
    """Give the results of a team's trials as a workbook."""
    return _results(visited, Team, team_id, "team_id")


def _results(visited: Visit, table: type[Table], row_id: str, name: str) -> Response:
    """Return the results of trials as a workbook with one row for each trial."""
    with visited.reading() as db:
        resources.get_row(db, visited.caller, table, row_id)
        query = ResultsQuery.model_validate({name: row_id, "format": "xlsx"})
        rows = read_results(db, visited.caller, query)
        out = write_results("xlsx", COLUMNS["trials"], rows, "trials")
    with out:
        return as_file(out.read(), RESULTS_MEDIA["xlsx"], "results.xlsx")


@router.get("/equipment-list.{ending}")
def equipment_file(ending: Format, visited: Visited) -> Response:
    """Give the equipment list as a file."""
    return _download(visited, report_formats.equipment_file, None, ending)

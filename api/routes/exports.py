"""Export a season or a school's data, and import a season into an empty programme."""

from typing import Any

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import Response

from api.deps import Read, ReadLead, WriteLead, as_file, database
from api.errors import UnsupportedMedia
from api.messages import say
from api.models.registry.seasons import SeasonRead
from api.routes.contract import READ, WRITE, StrictRoute
from api.services.access.idempotency import Answered
from api.services.core.scope import Caller
from api.services.operations import exports

router = APIRouter(route_class=StrictRoute)

ZIP = "application/zip"
FILE: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {ZIP: {"schema": {"type": "string", "contentMediaType": ZIP}, "example": "PK…"}},
        "description": "manifest.json, a table a file as JSON lines, and trials as CSV.",
    }
}
BODY = {
    "requestBody": {
        "required": True,
        "content": {ZIP: {"schema": {"type": "string", "contentMediaType": ZIP}, "example": "PK…"}},
    }
}


@router.get(
    "/seasons/{season_id}/export", tags=["seasons"], responses=READ | FILE, response_class=Response
)
def export_season(season_id: str, request: Request, read: ReadLead) -> Response:
    """Give a whole season as one file, with the digest of its numbers."""
    with database(request).reading() as db:
        return as_file(exports.export_season(db, read.caller, season_id), ZIP, "season.zip")


@router.get(
    "/organisations/{organisation_id}/export",
    tags=["organisations"],
    responses=READ | FILE,
    response_class=Response,
)
def export_organisation(organisation_id: str, request: Request, read: Read) -> Response:
    """Give all that is a school's own, over all seasons, as one file."""
    with database(request).reading() as db:
        body = exports.export_organisation(db, read.caller, organisation_id)
    return as_file(body, ZIP, "school.zip")


@router.post(
    "/seasons/import",
    tags=["seasons"],
    status_code=201,
    response_model=SeasonRead,
    responses=WRITE,
    openapi_extra=BODY,
)
def import_season(request: Request, write: WriteLead) -> Response:
    """Store an exported season in an empty programme, if its numbers come out the same there."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != ZIP:
        raise UnsupportedMedia(say("refused.not_zip", media=ZIP))

    def store(db: Session, caller: Caller) -> Answered:
        done = exports.import_season(db, caller, write.body)
        return write.stored(done, 201, f"/v1/seasons/{done.id}")

    return write.run(store)

"""Export a season or a school's data, and import a season into an empty programme."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from sqlmodel import Session
from starlette.responses import Response

from api.deps import Read, ReadLead, WriteLead, as_file, database, sign_in_lead
from api.errors import UnsupportedMedia
from api.messages import say
from api.models.registry.seasons import SeasonRead
from api.routes.contract import LEADS_ONLY, READ, STORE, StrictRoute
from api.routes.files import (
    BYTES,
    FORM,
    IN_A_FORM,
    ZIP,
    body_of,
    file_in_form,
    identified_by_file,
    media_type,
)
from api.services.access.idempotency import Answered
from api.services.core.scope import Caller
from api.services.operations import exports

router = APIRouter(route_class=StrictRoute)

ARCHIVE = {ZIP: {"schema": BYTES, "example": "PK…"}}
FILE: dict[int | str, dict[str, Any]] = {
    200: {
        "content": ARCHIVE,
        "description": "manifest.json, a table a file as JSON lines, and trials as CSV.",
    }
}


@router.get(
    "/seasons/{season_id}/export",
    tags=["seasons"],
    responses=READ | LEADS_ONLY | FILE,
    response_class=Response,
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


async def read_archive(request: Request) -> bytes:
    """Return an exported season, sent as it is or in a form."""
    kind = media_type(request)
    if kind == FORM:
        return await file_in_form(request)
    if kind == ZIP:
        return await request.body()
    raise UnsupportedMedia(say("refused.not_zip", media=ZIP))


@router.post(
    "/seasons/import",
    tags=["seasons"],
    status_code=201,
    response_model=SeasonRead,
    responses=STORE,
    openapi_extra=body_of({**ARCHIVE, **IN_A_FORM}),
    dependencies=[Depends(sign_in_lead)],  # asked before the file is read
)
def import_season(archive: Annotated[bytes, Depends(read_archive)], write: WriteLead) -> Response:
    """Store an exported season in an empty programme, if its numbers come out the same there."""

    def store(db: Session, caller: Caller) -> Answered:
        done = exports.import_season(db, caller, archive)
        return write.stored(done, 201, f"/v1/seasons/{done.id}")

    return identified_by_file(write, archive).run(store)

"""Imports over HTTP: a file, pasted cells or a JSON batch."""

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from api.deps import Read, Write, as_file, database, limits, sign_in_writer, turns
from api.errors import UnsupportedMedia
from api.messages import say
from api.models.core.pages import Page
from api.models.imports.imports import (
    ImportListed,
    ImportListQuery,
    ImportQuery,
    ImportRead,
    ImportTried,
    Undoing,
)
from api.routes.contract import LIST, READ, SHOW, WRITE, StrictRoute
from api.routes.files import (
    BYTES,
    CSV,
    CSV_UTF_8,
    FORM,
    IN_A_FORM,
    TABS,
    WORKBOOK,
    answers_csv,
    body_of,
    file_in_form,
    identified_by_file,
    media_type,
)
from api.services.access.idempotency import Answered
from api.services.core.scope import Caller
from api.services.imports import batch, preparing, profiles, refused, stored_imports, undo
from api.services.imports.layout.choices import read_choices

router = APIRouter(prefix="/imports", tags=["imports"], route_class=StrictRoute)

SHEETS = (CSV, TABS, "text/plain", WORKBOOK)
REFUSED_ROWS = answers_csv(
    "team;voltage_v;problem\r\n", "The refused rows, each with what is wrong."
)

EXAMPLE_JSON = {
    "trials": [
        {
            "session_id": "ses_01KC0000000000000000000000",
            "build_id": "bld_01KC0000000000000000000000",
            "kind": "record",
            "load_ohm": 30.1,
            "load_connected": True,
            "client_ref": "t-017",
            "runs": [{"voltage_v": 1.2}, {"voltage_v": 1.19}, {"voltage_v": 1.21}],
        }
    ]
}
EXAMPLE_CSV = (
    "team;build;bench;session_started_at;client_ref;load_ohm;load_connected;voltage_v;"
    "wind_speed_m_s;adult_present\r\n"
    "Larch;2;Hall fan;2026-03-05 14:30;t-017;30,1;yes;1,20;4,2;yes\r\n"
)
#: The shape of a batch, named in the API document.
TRIAL_BATCH = {
    "title": "TrialBatch",
    "type": "object",
    "properties": {
        "trials": {"type": "array", "items": {"$ref": "#/components/schemas/TrialCreate"}}
    },
    "required": ["trials"],
    "additionalProperties": False,
}
BODY = body_of(
    {
        "application/json": {
            "schema": {"$ref": "#/components/schemas/TrialBatch"},
            "example": EXAMPLE_JSON,
        },
        CSV: {"schema": BYTES, "example": EXAMPLE_CSV},
        TABS: {"schema": BYTES, "example": EXAMPLE_CSV.replace(";", "\t")},
        WORKBOOK: {"schema": BYTES},
        **IN_A_FORM,
    }
)


class ImportBody(BaseModel):
    """What was sent: the bytes of a file, or of a batch in JSON."""

    body: bytes
    is_json: bool = False


async def read_sent(request: Request) -> ImportBody:
    """Return the file or the batch of a request, by its kind of content."""
    kind = media_type(request)
    if kind in SHEETS:
        return ImportBody(body=await request.body())
    if kind == FORM:
        return ImportBody(body=await file_in_form(request))
    if kind == "application/json":
        return ImportBody(body=await request.body(), is_json=True)
    raise UnsupportedMedia(say("import_refused.media_type", sheets=", ".join(SHEETS)))


async def prepare(
    request: Request,
    caller: Annotated[Caller, Depends(sign_in_writer)],
    sent: Annotated[ImportBody, Depends(read_sent)],
    query: Annotated[ImportQuery, Query()],
) -> preparing.Prepared:
    """Read the request before waiting for the turn to write, so that a file blocks nobody."""
    most = request.app.state.settings.max_import_rows
    async with turns(request).reading_file(caller):
        if sent.is_json:
            return await run_in_threadpool(preparing.prepare_trials, sent.body, most)
        return await run_in_threadpool(
            profiles.prepare_as_before, database(request).reading, caller, sent.body, most,
            query.decimal, read_choices(query.mapping),
        )  # fmt: skip


@router.post(
    "",
    status_code=201,
    response_model=ImportRead,
    responses=WRITE | {200: {"model": ImportTried, "description": "A dry run: what would happen."}},
    openapi_extra=BODY,
)
def import_trials(
    query: Annotated[ImportQuery, Query()],
    sent: Annotated[ImportBody, Depends(read_sent)],
    prepared: Annotated[preparing.Prepared, Depends(prepare)],
    write: Write,
) -> Response:
    """Import trials from a file, pasted cells or a batch; every fault of every row at once.

    The same file twice changes nothing. In mode `all` one wrong row refuses the whole file.
    """
    limits(write.request).take_today("imports", write.caller.key_id)

    def carry_out(db: Session, caller: Caller) -> Answered:
        done = batch.carry_out(db, caller, prepared, query)
        if isinstance(done, ImportTried):
            return Answered(200, done.model_dump_json())
        return write.stored(done, 201, f"/v1/imports/{done.id}")

    return identified_by_file(write, sent.body).run(carry_out)


@router.get("", response_model=Page[ImportListed], responses=LIST)
def list_imports(query: Annotated[ImportListQuery, Query()], read: Read) -> Response:
    """List imports without their rows, oldest first."""
    return read.page(stored_imports.page, query)


@router.post("/{import_id}/undo", response_model=ImportRead, responses=WRITE)
def undo_import(import_id: str, undoing: Undoing, write: Write) -> Response:
    """Take a whole import back, as if it had never been; refused where later work stands on it."""
    return write.done(undo.undo, import_id, undoing)


@router.get("/{import_id}/errors.csv", responses=READ | REFUSED_ROWS, response_class=Response)
def get_import_errors(import_id: str, request: Request, read: Read) -> Response:
    """Give the refused rows as they came, with what is wrong: correct them and submit the file."""
    with database(request).reading() as db:
        text = refused.errors_csv(db, read.caller, import_id)
    return as_file(text, CSV_UTF_8, "errors.csv")


@router.get("/{import_id}", response_model=ImportRead, responses=SHOW)
def get_import(import_id: str, read: Read) -> Response:
    """Show an import row by row."""
    return read.one(stored_imports.get, import_id)

"""Imports over HTTP: a file, pasted cells or a JSON batch."""

from dataclasses import replace
from email.message import Message
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel
from sqlmodel import Session
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import UploadFile
from starlette.responses import Response

from api.deps import Read, Write, as_file, database, limits, sign_in_writer, turns
from api.errors import FieldError, Invalid, UnsupportedMedia
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
from api.routes.contract import LIST, READ, WRITE, StrictRoute
from api.services.access.idempotency import Answered
from api.services.core.scope import Caller
from api.services.imports import batch, preparing, profiles, refused, stored_imports, undo
from api.services.imports.layout.choices import read_choices

router = APIRouter(prefix="/imports", tags=["imports"], route_class=StrictRoute)

WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
SHEETS = ("text/csv", "text/tab-separated-values", "text/plain", WORKBOOK)
CSV: dict[int | str, dict[str, Any]] = {
    200: {
        "content": {"text/csv": {"example": "team;voltage_v;problem\r\n"}},
        "description": "The refused rows, each with what is wrong.",
    }
}

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
BODY = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {
                "schema": {
                    "type": "object",
                    "properties": {
                        "trials": {
                            "type": "array",
                            "items": {"$ref": "#/components/schemas/TrialCreate"},
                        }
                    },
                    "required": ["trials"],
                    "additionalProperties": False,
                },
                "example": EXAMPLE_JSON,
            },
            "text/csv": {"schema": {"type": "string"}, "example": EXAMPLE_CSV},
            "text/tab-separated-values": {
                "schema": {"type": "string"},
                "example": EXAMPLE_CSV.replace(";", "\t"),
            },
            WORKBOOK: {"schema": {"type": "string", "contentMediaType": WORKBOOK}},
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "properties": {"file": {"type": "string", "contentMediaType": "text/csv"}},
                    "required": ["file"],
                }
            },
        },
    }
}


class ImportBody(BaseModel):
    """What was sent: the bytes of a file, or of a batch in JSON."""

    body: bytes
    is_json: bool = False


async def read_sent(request: Request) -> ImportBody:
    """Return the file or the batch of a request, by its kind of content."""
    kind = _media_type(request.headers.get("content-type", ""))
    if kind in SHEETS:
        return ImportBody(body=await request.body())
    if kind == "multipart/form-data":
        await request.body()  # read now, so that the digest of a retry can be computed
        return ImportBody(body=await _file(request))
    if kind == "application/json":
        return ImportBody(body=await request.body(), is_json=True)
    raise UnsupportedMedia(say("import_refused.media_type", sheets=", ".join(SHEETS)))


def _media_type(header: str) -> str:
    message = Message()
    message["content-type"] = header
    return message.get_content_type() if header else ""


async def _file(request: Request) -> bytes:
    """Return the one file of a form; its name is not looked at."""
    async with request.form(max_files=1, max_fields=4) as form:
        file = form.get("file")
        if not isinstance(file, UploadFile):
            words = say("import_refused.no_file")
            raise Invalid(words, [FieldError("missing", words, pointer="/file")])
        return await file.read()


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

    # A form's boundary is random: what tells two requests apart is the file in it.
    return replace(write, body=sent.body).run(carry_out)


@router.get("", response_model=Page[ImportListed], responses=LIST)
def list_imports(query: Annotated[ImportListQuery, Query()], read: Read) -> Response:
    """List imports without their rows, oldest first."""
    return read.page(stored_imports.page, query)


@router.post("/{import_id}/undo", response_model=ImportRead, responses=WRITE)
def undo_import(import_id: str, undoing: Undoing, write: Write) -> Response:
    """Take a whole import back, as if it had never been; refused where later work stands on it."""
    return write.done(undo.undo, import_id, undoing)


@router.get("/{import_id}/errors.csv", responses=READ | CSV, response_class=Response)
def get_import_errors(import_id: str, request: Request, read: Read) -> Response:
    """Give the refused rows as they came, with what is wrong: correct them and submit the file."""
    with database(request).reading() as db:
        text = refused.errors_csv(db, read.caller, import_id)
    return as_file(text, "text/csv; charset=utf-8", "errors.csv")


@router.get("/{import_id}", response_model=ImportRead, responses=READ)
def get_import(import_id: str, read: Read) -> Response:
    """Show an import row by row."""
    return read.one(stored_imports.get, import_id)

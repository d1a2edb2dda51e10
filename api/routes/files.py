"""Files in requests and answers: sent as they are or in a form, described for programs."""

from dataclasses import replace
from email.message import Message
from typing import Any

from fastapi import Request
from starlette.datastructures import UploadFile

from api.deps import Writing
from api.errors import FieldError, Invalid
from api.messages import say
from api.services.reporting import workbooks

FORM = "multipart/form-data"
CSV = "text/csv"
TABS = "text/tab-separated-values"
WORKBOOK = workbooks.MEDIA_TYPE
ZIP = "application/zip"
#: The media types of text in answers.
CSV_UTF_8, HTML_UTF_8 = f"{CSV}; charset=utf-8", "text/html; charset=utf-8"

#: Files in the API document: an upload is bytes, as its encoding is unknown; answers are UTF-8.
BYTES = {"type": "string", "format": "binary"}
TEXT = {"type": "string"}
#: The form that takes a file, as a named shape of the document.
FILE_FORM = {
    "title": "FileForm",
    "type": "object",
    "properties": {"file": BYTES | {"description": "The file; its name is ignored."}},
    "required": ["file"],
}
IN_A_FORM = {FORM: {"schema": {"$ref": "#/components/schemas/FileForm"}}}


def answers_csv(example: str, description: str) -> dict[int | str, dict[str, Any]]:
    """Return the OpenAPI part for an answer that is a CSV file."""
    content = {CSV_UTF_8: {"schema": TEXT, "example": example}}
    return {200: {"content": content, "description": description}}


def body_of(content: dict[str, Any]) -> dict[str, Any]:
    """Return the OpenAPI part for a request body that may have one of several media types."""
    return {"requestBody": {"required": True, "content": content}}


def media_type(request: Request) -> str:
    """Return the kind of content of a request, without its parameters."""
    header = request.headers.get("content-type", "")
    message = Message()
    message["content-type"] = header
    return message.get_content_type() if header else ""


def identified_by_file(write: Writing, file: bytes) -> Writing:
    """Return a write whose retries have the same file; the boundary of a form is random."""
    return replace(write, body=file)


async def file_in_form(request: Request) -> bytes:
    """Return the one file of a form; its name is ignored."""
    await request.body()  # read now, so that the digest of a retry can be computed
    async with request.form(max_files=1, max_fields=4) as form:
        file = form.get("file")
        if not isinstance(file, UploadFile):
            words = say("import_refused.no_file")
            raise Invalid(words, [FieldError("missing", words, pointer="/file")])
        return await file.read()

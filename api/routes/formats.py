"""Answer a report in the format that a request asks for, by name or by its Accept header."""

import re
from collections.abc import Callable
from typing import Any

from fastapi import Request
from pydantic import BaseModel
from starlette.responses import Response

from api.errors import NotAcceptable
from api.messages import say
from api.models.registry.equipment_list import EquipmentListQuery
from api.models.reporting.team_sheet import SheetQuery
from api.models.season.reports import ReportQuery
from api.routes.contract import READ, refusals
from api.routes.files import BYTES, CSV_UTF_8, HTML_UTF_8, TEXT
from api.services.reporting.documents import page
from api.services.reporting.report_formats import MEDIA, ReportFile


def answers_as(shape: type[BaseModel], others: Any = READ) -> Any:
    """Return what a report's operation answers."""
    return (
        others
        | refusals(NotAcceptable)
        | {
            200: {
                "model": shape,
                "content": {
                    CSV_UTF_8: {"schema": TEXT, "example": "team,build,normalised_power_w\r\n"},
                    MEDIA["xlsx"]: {"schema": BYTES},
                    HTML_UTF_8: {"schema": TEXT, "example": "<!doctype html>"},
                    "application/pdf": {"schema": BYTES, "example": "%PDF-1.7"},
                },
                "description": "The report in the format asked for.",
            }
        }
    )


def answer_in_format(
    request: Request, query: ReportQuery | SheetQuery | EquipmentListQuery, file: ReportFile
) -> Callable[[], Response]:
    """Return what makes the answer in the format asked for, out of what was read by now."""
    chosen = query.format or _accepted(request.headers.get("accept", "*/*"))
    headers = {"Vary": "Accept, Authorization", "Cache-Control": "private, no-cache"}
    if chosen == "html":
        headers["Content-Security-Policy"] = page.content_policy()
    if chosen in ("csv", "xlsx", "pdf"):
        headers["Content-Disposition"] = f'attachment; filename="{file.name}.{chosen}"'
    write = file.writer(chosen, excel=query.excel)
    return lambda: Response(write(), headers=headers, media_type=MEDIA[chosen])


def _accepted(accept: str) -> str:
    """Return the first format that an Accept header names and we can give."""
    for kind in _wanted(accept):
        if kind in ("*/*", "application/*", ""):
            return "json"
        for name, media in MEDIA.items():
            if kind in (media, media.split("/")[0] + "/*"):
                return name
    raise NotAcceptable(say("refused.report_formats", formats=", ".join(MEDIA.values())))


def _wanted(accept: str) -> list[str]:
    """Return the kinds of an Accept header, the most wanted first; q=0 is not wanted at all."""
    kinds: list[tuple[float, str]] = []
    for part in accept.split(","):
        kind, _, rest = part.strip().lower().partition(";")
        quality = re.search(r"(?:^|;)\s*q=([01](?:\.\d{0,3})?)\s*(?:;|$)", rest)
        kinds.append((float(quality[1]) if quality else 1.0, kind.strip()))
    return [kind for quality, kind in sorted(kinds, key=lambda pair: -pair[0]) if quality > 0]

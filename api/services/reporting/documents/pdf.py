"""Make a PDF of a document with typst, from the same blocks as the page."""

import json
from datetime import UTC
from functools import cache
from threading import BoundedSemaphore
from typing import Any

from api.messages import current_language, say
from api.messages.languages import locale_of
from api.services.reporting.charts.drawing import svg
from api.services.reporting.documents.blocks import (
    Block,
    Document,
    Heading,
    Items,
    Plot,
    Table,
    Text,
)
from api.services.reporting.documents.page import TEMPLATES
from api.services.reporting.documents.words import day

#: Documents that are typeset at the same time: a large report takes some 200 MB.
SET_TOGETHER = 2
_setting = BoundedSemaphore(SET_TOGETHER)
LEAST_WIDTH, MOST_WIDTH, SHORT_NAME = 6, 30, 16  # [characters], of a column


def to_pdf(*documents: Document) -> bytes:
    """Return documents as one PDF, each on a page of its own or more.

    Texts are passed as data, so that none is read as markup.
    """
    import typst  # noqa: PLC0415  # heavy, and few requests need it

    first = documents[0]
    content = {
        "title": first.title,
        "language": locale_of(current_language()).language,
        "as_of": say("report_page.as_of", day=day(first.as_of), moment=first.as_of.astimezone(UTC)),
        "page_of": say("report_page.page_of", page="{page}", pages="{pages}"),
        "words_of_cautions": say("page.cautions"),
        "documents": [_content(document) for document in documents],
    }
    with _setting:
        pdf: bytes = typst.compile(_source(), sys_inputs={"document": json.dumps(content)})
    return pdf


def _content(document: Document) -> dict[str, Any]:
    return {
        "title": document.title,
        "subtitle": document.subtitle,
        "blocks": [_plain(block) for block in document.blocks],
        "cautions": list(document.cautions),
    }


@cache
def _source() -> bytes:
    return (TEMPLATES / "document.typ").read_bytes()


def _plain(block: Block) -> dict[str, Any]:
    """Return a block as data."""
    match block:
        case Heading():
            return {"kind": "Heading", "words": block.words, "level": block.level}
        case Text():
            return {"kind": "Text", "words": block.words, "tone": block.tone}
        case Items():
            return {"kind": "Items", "words": list(block.words)}
        case Table():
            return _table(block)
        case Plot():
            return {
                "kind": "Plot",
                "svg": svg(block.chart, is_file=True),
                "title": block.chart.title,
                "description": block.chart.description,
            }


def _table(table: Table) -> dict[str, Any]:
    return {
        "kind": "Table",
        "columns": list(table.columns),
        "rows": [list(row) for row in table.rows],
        "caption": table.caption,
        "widths": [_width(table, at) for at in range(len(table.columns))],
    }


def _width(table: Table, at: int) -> int:
    """Return the width of a column: its longest line within limits, at least its longest word.

    A first column of short names has width 0, which means automatic, so that no name is broken.
    """
    cells = [str(row[at]) for row in table.rows]
    longest = max((len(line) for cell in cells for line in cell.split("\n")), default=0)
    if at == 0 and longest <= SHORT_NAME:
        return 0
    word = max(len(word) for cell in (table.columns[at], *cells) for word in cell.split() or [""])
    return max(LEAST_WIDTH, word + 4, min(MOST_WIDTH, longest))

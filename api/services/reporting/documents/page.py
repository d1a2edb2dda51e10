"""Make one self-contained HTML page of a document, without scripts, that prints well."""

from base64 import b64encode
from collections.abc import Iterable
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from jinja2 import Environment

from api.messages import current_language, say
from api.services.core.markup import templates_in
from api.services.reporting.charts import colours
from api.services.reporting.charts.drawing import NARROW, WIDE, svg
from api.services.reporting.documents.blocks import Block, Document, Heading

SHORT = 14  # characters of a line
SECTION = 2  # level of the headings that begin a section
TEMPLATES = Path(__file__).parents[1] / "templates"


@cache
def _environment() -> Environment:
    environment = templates_in(TEMPLATES)
    environment.globals |= GLOBALS | {"say": say, "current_language": current_language}
    return environment


def kind_of(block: Block) -> str:
    """Return the kind of a block, for templates."""
    return type(block).__name__


def in_sections(blocks: Iterable[Block]) -> list[tuple[str, list[Block]]]:
    """Return blocks by the section that they belong to; those before the first one have no title.

    >>> from api.services.reporting.documents.blocks import Heading, Text
    >>> in_sections([Text("One."), Heading("Benches"), Text("Two.")])[1][0]
    'Benches'
    """
    sections: list[tuple[str, list[Block]]] = [("", [])]
    for block in blocks:
        if isinstance(block, Heading) and block.level == SECTION:
            sections.append((block.words, []))
        else:
            sections[-1][1].append(block)
    return [section for section in sections if section[1]]


def is_short(words: str) -> bool:
    """Tell whether each line of a cell is so short that it stays on one line of the page."""
    return all(len(line) <= SHORT for line in words.split("\n"))


#: What the templates of blocks use.
GLOBALS: dict[str, Any] = {
    "kind_of": kind_of,
    "in_sections": in_sections,
    "is_short": is_short,
    "svg": svg,
    "narrow": NARROW,
    "wide": WIDE,
}


@cache
def style() -> str:
    """Return the style sheet of every document, with that of charts."""
    return (TEMPLATES / "report.css").read_text(encoding="utf-8") + colours.STYLE


@cache
def content_policy() -> str:
    """Return the policy of a document's page: its own style sheet and nothing else."""
    digest = b64encode(sha256(style().encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; frame-ancestors 'none'"
    )


def to_html(document: Document) -> str:
    """Return a document as a page."""
    template = _environment().get_template("document.html")
    return template.render(document=document, style=style())

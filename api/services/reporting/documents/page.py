"""Make one self-contained HTML page of a document, without scripts, that prints well."""

from base64 import b64encode
from functools import cache
from hashlib import sha256
from pathlib import Path

from jinja2 import Environment

from api.messages import current_language, say
from api.services.core.markup import templates_in
from api.services.reporting.documents import charts
from api.services.reporting.documents.blocks import Block, Document

TEMPLATES = Path(__file__).parents[1] / "templates"


@cache
def _environment() -> Environment:
    environment = templates_in(TEMPLATES)
    environment.globals |= {"kind_of": kind_of, "say": say, "current_language": current_language}
    return environment


def kind_of(block: Block) -> str:
    """Return the kind of a block, for templates."""
    return type(block).__name__


@cache
def style() -> str:
    """Return the style sheet of every document, with that of charts."""
    return (TEMPLATES / "report.css").read_text(encoding="utf-8") + charts.STYLE


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

"""How a page is made: its template, its style sheet, and the policy that lets nothing else in."""

from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from jinja2 import Environment
from starlette.responses import HTMLResponse, Response

from api.services.markup import templates_in

FOLDER = Path(__file__).parent / "templates"
#: A page fetches its style sheet from us and nothing from anywhere.
POLICY = (
    "default-src 'none'; style-src 'self'; img-src 'self' data:; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
A_YEAR = "public, max-age=31536000, immutable"


@cache
def _environment() -> Environment:
    made = templates_in(FOLDER)
    made.globals["style_path"] = style_path()
    return made


@cache
def style() -> str:
    """Return the style sheet of all pages."""
    return (FOLDER / "page.css").read_text(encoding="utf-8")


@cache
def style_path() -> str:
    """Return the style sheet's address, another one for each version of it."""
    return f"/assets/page-{sha256(style().encode()).hexdigest()[:12]}.css"


def show(template: str, **facts: Any) -> HTMLResponse:
    """Return a page made from a template."""
    html = _environment().get_template(template).render(**facts)
    return HTMLResponse(html, headers={"content-security-policy": POLICY})


def show_style() -> Response:
    """Return the style sheet, which a browser may keep."""
    return Response(style(), media_type="text/css", headers={"cache-control": A_YEAR})

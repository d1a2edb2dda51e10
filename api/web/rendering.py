"""Render pages from templates, with their style sheet, script and content policy."""

import json
import secrets
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from jinja2 import Environment
from starlette.responses import HTMLResponse, Response

from api.messages import current_language, has_key, say
from api.messages.languages import other_languages
from api.messages.numbers import localised
from api.services.core.markup import templates_in
from api.services.reporting.documents import page, words
from api.services.season import counting
from api.web.visitors import Visit

FOLDER = Path(__file__).parent / "templates"
#: A page loads its style sheet and scripts from this service, and nothing from elsewhere.
POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; worker-src 'self'; "
    "connect-src 'self'; "
    "img-src 'self' data:; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
SCRIPT = "text/javascript"
ASSETS = {"page.css": "text/css", "page.js": SCRIPT, "pages.js": SCRIPT, "units.js": SCRIPT,
          "bench.js": SCRIPT, "board.js": SCRIPT}  # fmt: skip
A_YEAR = "public, max-age=31536000, immutable"


@cache
def _environment() -> Environment:
    environment = templates_in(FOLDER, page.TEMPLATES)
    environment.globals |= page.GLOBALS | {
        "style_path": asset_path("page.css"),
        "script_path": asset_path("page.js"),
        "pages_script_path": asset_path("pages.js"),
        "units_script_path": asset_path("units.js"),
        "board_script_path": asset_path("board.js"),
        "bench_script_path": asset_path("bench.js"),
        "say": say,
        "has_key": has_key,
        "left_out_of": counting.left_out,
        "current_language": current_language,
        "other_languages": other_languages,
        "form_key": lambda: secrets.token_urlsafe(18),
    }
    environment.filters |= {
        "day": words.day,
        "iso_day": lambda text: words.day(date.fromisoformat(text)),
        "moment": moment,
        "moment_in_zone": moment_in_zone,
        "clock": clock,
        "milliwatts": words.milliwatts,
        "number": localised,
        "with_query": with_query,
    }
    return environment


def moment(when: datetime, zone: str) -> str:
    """Return a day and time in a school's time zone, with the month's name.

    >>> moment(datetime(2026, 7, 5, 13, 30, tzinfo=UTC), "Europe/Dublin")
    '5 July 2026, 14:30'
    """
    local = when.astimezone(ZoneInfo(zone))
    return f"{words.day(local)}, {local:%H:%M}"


def moment_in_zone(when: datetime, zone: str) -> str:
    """Return a day and time with the time zone, which a page needs to say once.

    >>> moment_in_zone(datetime(2026, 7, 5, 13, 30, tzinfo=UTC), "Europe/Dublin")
    '5 July 2026, 14:30 (Europe/Dublin)'
    """
    return f"{moment(when, zone)} ({zone})"


def clock(when: datetime, zone: str) -> str:
    """Return a time of day in a school's time zone.

    >>> clock(datetime(2026, 7, 5, 13, 30, tzinfo=UTC), "Europe/Dublin")
    '14:30'
    """
    return f"{when.astimezone(ZoneInfo(zone)):%H:%M}"


def with_query(path: str, query: Mapping[str, object]) -> str:
    """Return the address of a page with parameters.

    >>> with_query("/seasons/sea_1", {"sort": "name", "page": 2})
    '/seasons/sea_1?sort=name&page=2'
    """
    return f"{path}?{urlencode(query, doseq=True)}" if query else path


@cache
def asset(name: str) -> str:
    """Return the style sheet or the script of all pages."""
    text = (FOLDER / name).read_text(encoding="utf-8")
    return page.style() + text if name == "page.css" else text


@cache
def asset_path(name: str) -> str:
    """Return the address of an asset; each version of it has another address."""
    stem, ending = name.split(".")
    return f"/assets/{stem}-{sha256(asset(name).encode()).hexdigest()[:12]}.{ending}"


def show_asset(address: str) -> Response | None:
    """Return the asset at an address, which a browser may cache, or None."""
    for name, media in ASSETS.items():
        if address == asset_path(name):
            return Response(asset(name), media_type=media, headers={"cache-control": A_YEAR})
    return None


@cache
def service_worker() -> str:
    """Return the script that caches the trial form for use without a network.

    It lists the assets of this version, so that a new version of any of them changes the script.
    """
    paths = [asset_path(name) for name in ASSETS]
    version = sha256("".join(paths).encode()).hexdigest()[:12]
    text = (FOLDER / "service-worker.js").read_text(encoding="utf-8")
    return text.replace("PARTS_VERSION", version).replace('"PARTS_LIST"', json.dumps(paths)[1:-1])


def show(
    template: str,
    visit: Visit | None = None,
    *,
    status: int = 200,
    as_of: datetime | date | None = None,
    left_out: Sequence[str] | None = None,
    **facts: Any,
) -> HTMLResponse:
    """Return a page made from a template, as of now unless `as_of` is given.

    `left_out` lists what a page of results leaves out; an empty list means nothing. Times are those
    of the season's time zone unless `zone` is among the facts.
    """
    facts = {"zone": visit.zone if visit else "UTC"} | facts
    html = (
        _environment()
        .get_template(template)
        .render(visit=visit, as_of=as_of or datetime.now(UTC), left_out=left_out, **facts)
    )
    headers = {"content-security-policy": POLICY}
    return HTMLResponse(html, status_code=status, headers=headers)

"""Sign in with an access key, and sign out here or everywhere."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from sqlmodel import Session
from starlette.responses import Response

from api.deps import database, limits, look_at
from api.errors import NotSignedIn
from api.messages import say
from api.services.access import keys, web_sessions
from api.services.core.scope import Caller
from api.settings import Settings
from api.web import rendering
from api.web.visitors import (
    PostedByAny,
    Turn,
    Visited,
    cookie_name,
    go_to,
    local_path,
    require_same_origin,
    secret_of,
    store_in_browser,
)

router = APIRouter()
MOST_BYTES = 10_000
LONGEST_S = int(web_sessions.LONGEST.total_seconds())


@router.get("/")
def start(request: Request) -> Response:
    """Redirect to the page of today, or to signing in."""
    return go_to("/today" if secret_of(request) else "/sign-in")


@router.get("/sign-in")
def sign_in_form(
    request: Request, next: str = "/today"
) -> Response:  # the query parameter is called next
    """Show the form for an access key."""
    return form(request, local_path(next))


def form(
    request: Request,
    onwards: str,
    wrong: str = "",
    status: int = 200,
    *,
    is_key_wrong: bool = False,
) -> Response:
    """Return the page with every way to sign in, and what was wrong: the key, or something else."""
    settings: Settings = request.app.state.settings
    return rendering.show(
        "sign_in.html", status=status, onwards=onwards, wrong=wrong, offered=_offered(settings),
        is_key_wrong=is_key_wrong, school_account=_school_account(settings),
    )  # fmt: skip


def _school_account(settings: Settings) -> str:
    """Return the text of the button to sign in with a school account, or "" without a provider."""
    if not settings.sign_in_issuer:
        return ""
    return say("sign_in.with", name=settings.sign_in_name or say("sign_in.school_account"))


def _offered(settings: Settings) -> list[tuple[str, str]]:
    """Return the keys that the demo offers, each with the words of its button.

    The file is missing while the demo loads its season.
    """
    if not settings.demo_keys or not Path(settings.demo_keys).exists():
        return []
    lines = Path(settings.demo_keys).read_text(encoding="utf-8").splitlines()
    rows = [line.split("\t") for line in lines]
    return [(key, say(f"sign_in.as_{role}", school=school)) for role, school, key in rows]


async def typed_key(request: Request) -> tuple[str, str]:
    """Return the pasted key, and the page to go to."""
    require_same_origin(request)
    async with request.form(max_files=0, max_fields=5, max_part_size=MOST_BYTES) as form:
        return str(form.get("key", "")), local_path(str(form.get("next", "")))


@router.post("/sign-in", max_body_size=MOST_BYTES)
def sign_in(
    request: Request, typed: Annotated[tuple[str, str], Depends(typed_key)], turn: Turn
) -> Response:
    """Begin a browser session with a key; end the earlier one of this browser."""
    key, onwards = typed
    now = datetime.now(UTC)

    def look(token: str) -> Caller:
        with database(request).reading() as db:
            return keys.caller_with(db, token, now)

    try:
        caller = look_at(request, key.strip(), look)
    except NotSignedIn:
        wrong = say("sign_in.refused") if key.strip() else say("sign_in.empty")
        return form(request, onwards, wrong, 401, is_key_wrong=True)
    limits(request).take(caller.key_id)
    with database(request).unit_of_work() as db:
        return begin(request, db, caller, onwards)


def begin(request: Request, db: Session, caller: Caller, onwards: str) -> Response:
    """Begin a browser session of a key, and go to a page; end this browser's earlier session."""
    web_sessions.end(db, web_sessions.digest_of(secret_of(request)))
    secret = web_sessions.begin(db, caller.key_id, datetime.now(UTC))
    answer = go_to(onwards)
    store_in_browser(answer, request, cookie_name(request.app.state.settings), secret, LONGEST_S)
    return answer


@router.get("/privacy")
def privacy() -> Response:
    """Show which data is stored, for whom, and how long."""
    return rendering.show("privacy.html")


@router.get("/account")
def account(visited: Visited) -> Response:
    """Show who is signed in, and how to sign out."""
    with visited.reading() as db:
        browsers = web_sessions.count(db, visited.caller.key_id)
    return rendering.show("account.html", visited, browsers=browsers)


@router.post("/sign-out")
def sign_out(posted: PostedByAny) -> Response:
    """End this session, or all of this key's."""
    visited = posted.visit
    with database(visited.request).unit_of_work() as db:
        if posted.text("where") == "everywhere":
            web_sessions.end_all(db, visited.caller.key_id)
        else:
            web_sessions.end(db, visited.digest)
    answer = go_to("/sign-in")
    # The next person must not read pages from the browser's cache; unsent numbers stay.
    answer.headers["Clear-Site-Data"] = '"cache"'
    settings = visited.request.app.state.settings
    answer.delete_cookie(
        cookie_name(settings), path="/", secure=not settings.plain_http_pages, httponly=True,
        samesite="lax",
    )  # fmt: skip
    return answer

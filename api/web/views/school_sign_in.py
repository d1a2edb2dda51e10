"""Sign in with a school account: the way to the provider and the way back.

Both are links and not forms: a browser applies `form-action` also to where a form is redirected, so
a form could not lead to another host. The way back is the one address where reading begins a
session: the derived state shows that this browser asked for it.
"""

from datetime import UTC, datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from anyio.to_thread import run_sync
from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from api import logs
from api.deps import database, limits, turns
from api.messages import say
from api.services.access import keys
from api.services.access.rate_limits import network_of
from api.services.access.school_account import attempts
from api.services.access.school_account.attempts import Attempt, Reason, SignInFailed
from api.settings import Settings
from api.web.views import sign_in
from api.web.visitors import cookie_name, go_to, local_path, site, store_in_browser

if TYPE_CHECKING:
    from api.services.access.school_account.provider import Provider

router = APIRouter()
BACK = "/sign-in/school/back"
STATUS: dict[Reason, int] = {
    "unreachable": 502, "declined": 400, "stale": 400, "wrong": 400, "unverified": 401,
    "unknown": 401,
}  # fmt: skip
#: These say nothing about who is asking, and are not counted like a wrong key.
NOT_COUNTED: frozenset[Reason] = frozenset({"unreachable", "declined"})


def attempt_cookie(settings: Settings) -> str:
    """Return the name of the cookie with the attempt to sign in."""
    return f"{cookie_name(settings)}-school"


@router.get("/sign-in/school")
async def school_sign_in(
    request: Request, next: str = "/today"
) -> Response:  # the query parameter is called next
    """Go to the provider, from our own sign-in page only."""
    onwards = local_path(next)
    if request.headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
        return go_to("/sign-in")
    attempt = attempts.begin(onwards, datetime.now(UTC))
    try:
        provider = await run_sync(_provider, request.app.state.settings)
        answer: Response = go_to(await provider.address_to_sign_in(attempt, _return_to(request)))
    except SignInFailed as failure:
        return await run_in_threadpool(_failed, request, failure, onwards)
    _store(answer, request, attempt.cookie)
    return answer


@router.get(BACK)
async def school_signed_in(
    request: Request, state: str = "", code: str = "", error: str = ""
) -> Response:
    """Come back from the provider, and begin a browser session."""
    try:
        cookie = request.cookies.get(attempt_cookie(request.app.state.settings), "")
        attempt = attempts.resumed(cookie, state, datetime.now(UTC))
    except SignInFailed as failure:
        # The cookie stays: this browser may have begun another attempt since, in another tab.
        return await run_in_threadpool(_failed, request, failure, "/today")
    onwards = local_path(attempt.onwards)
    try:
        email = await _email(request, attempt, code, error)
        async with request.app.state.writers:
            answer = await run_in_threadpool(_begin, request, email, onwards)
    except SignInFailed as failure:
        answer = await run_in_threadpool(_failed, request, failure, onwards)
    _store(answer, request, "")
    return answer


@lru_cache(maxsize=1)
def _provider(settings: Settings) -> "Provider":
    """Return the provider of school accounts; its libraries are imported here."""
    from api.services.access.school_account.provider import Provider

    return Provider(settings)


async def _email(request: Request, attempt: Attempt, code: str, error: str) -> str:
    """Return the verified address of the person who comes back with a code."""
    if error:
        raise SignInFailed("declined")
    provider = await run_sync(_provider, request.app.state.settings)
    async with turns(request).signing_in(_network(request)):
        return await provider.email(attempt, code, _return_to(request))


def _network(request: Request) -> str:
    return network_of(request.client.host if request.client else "")


def _begin(request: Request, email: str, onwards: str) -> Response:
    """Begin a session of the newest valid key with an address."""
    with database(request).unit_of_work() as db:
        caller = keys.sign_in_at(db, email, datetime.now(UTC))
        if caller is None:
            raise SignInFailed("unknown")
        return sign_in.begin(request, db, caller, onwards)


def _failed(request: Request, failure: SignInFailed, onwards: str) -> Response:
    """Show the sign-in page with the reason; count what may be an attack like a wrong key."""
    logs.say("school sign-in failed", request_id=request.scope["request_id"], reason=str(failure))
    if failure.reason not in NOT_COUNTED:
        limits(request).note_guess("school account", _network(request))
    wrong = say(f"sign_in.school_{failure.reason}")
    return sign_in.form(request, onwards, wrong, STATUS[failure.reason])


def _return_to(request: Request) -> str:
    """Return the complete address of the way back."""
    return site(request) + BACK


def _store(answer: Response, request: Request, text: str) -> None:
    """Store an attempt in this browser; delete it if the text is empty."""
    name = attempt_cookie(request.app.state.settings)
    store_in_browser(answer, request, name, text, attempts.LONGEST_S)

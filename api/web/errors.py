"""Answer a refusal with a page for people, or with problem details for programs."""

from urllib.parse import quote

from starlette.requests import Request
from starlette.responses import Response
from starlette.types import Scope

from api.errors import ApiError, NotSignedIn, problem, words_of
from api.on_demand import FOR_PROGRAMS


def answer(scope: Scope, refusal: ApiError) -> Response:
    """Return a refusal as a page or as problem details."""
    request = Request(scope)
    is_page = "text/html" in request.headers.get("accept", "")
    if not is_page or request.url.path.startswith(FOR_PROGRAMS):
        return problem(refusal, scope["request_id"])
    return _page(request, refusal)


def _page(request: Request, refusal: ApiError) -> Response:
    # The modules of pages are imported at the first request for one.
    from api.web import rendering
    from api.web.visitors import go_to

    if isinstance(refusal, NotSignedIn):
        return go_to(f"/sign-in?next={quote(_return_to(request))}")
    status, _, title, detail = words_of(refusal)
    page = rendering.show(
        "refusal.html",
        status=status,
        title=title,
        detail=detail,
        errors=[error.detail for error in refusal.errors[:20]],
        request_id=request.scope["request_id"],
    )
    page.headers.update(refusal.headers)
    return page


def _return_to(request: Request) -> str:
    """Return the page to go to after signing in: the requested one if it only reads."""
    if request.method != "GET":
        return "/today"
    query = f"?{request.url.query}" if request.url.query else ""
    return f"{request.url.path}{query}"

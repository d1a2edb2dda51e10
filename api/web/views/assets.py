"""Serve the assets of pages: style sheets, scripts, the service worker, the offline page."""

from fastapi import APIRouter
from starlette.responses import Response

from api.errors import NotFound
from api.messages import say
from api.web import rendering

router = APIRouter(include_in_schema=False)


@router.get("/assets/{name}")
def asset(name: str) -> Response:
    """Return a style sheet or script."""
    response = rendering.show_asset(f"/assets/{name}")
    if response is None:
        raise NotFound(say("refused.no_asset", name=name))
    return response


@router.get("/service-worker.js")
def service_worker() -> Response:
    """Return the script that caches the trial form; browsers request it at each visit."""
    # A worker fetches under the content policy of its own script.
    headers = {"cache-control": "no-cache", "content-security-policy": rendering.POLICY}
    return Response(rendering.service_worker(), media_type="text/javascript", headers=headers)


@router.get("/offline")
def offline() -> Response:
    """Say that there is no network, instead of a page that is not cached."""
    return rendering.show("offline.html")

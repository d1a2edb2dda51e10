"""What pages are made with: style sheets, scripts, the service worker, the offline page."""

from fastapi import APIRouter
from starlette.responses import Response

from api.errors import NotFound
from api.messages import say
from api.web import rendering

router = APIRouter(include_in_schema=False)


@router.get("/assets/{name}")
def asset(name: str) -> Response:
    """Return what pages are made with."""
    found = rendering.show_asset(f"/assets/{name}")
    if found is None:
        raise NotFound(say("refused.no_asset", name=name))
    return found


@router.get("/service-worker.js")
def service_worker() -> Response:
    """Return the script that keeps the trial form on a phone; browsers ask for it at each visit."""
    # A worker fetches under the policy that its own script came with.
    headers = {"cache-control": "no-cache", "content-security-policy": rendering.POLICY}
    return Response(rendering.service_worker(), media_type="text/javascript", headers=headers)


@router.get("/offline")
def offline() -> Response:
    """Say that there is no network, where a page that is not kept was asked for."""
    return rendering.show("offline.html")

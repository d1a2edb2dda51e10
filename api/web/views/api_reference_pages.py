"""The pages of the API reference: what FastAPI knows of us, without a script from elsewhere."""

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, Response

from api.errors import NotFound
from api.messages import say
from api.web import rendering
from api.web.views.api_reference import read_shapes, read_subject, subjects

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


@router.get("/reference")
def reference(request: Request) -> HTMLResponse:
    """Return the list of all calls, by subject."""
    document = request.app.openapi()
    return rendering.show(
        "reference.html",
        about=document["info"],
        subjects=[read_subject(document, name) for name in subjects(document)],
        problem=list(read_shapes(document, ["Problem"])),
    )


@router.get("/reference/{subject}")
def reference_subject(request: Request, subject: str) -> HTMLResponse:
    """Return the calls of one subject, and the shapes that they speak in."""
    document = request.app.openapi()
    return rendering.show(
        "reference_subject.html",
        subject=read_subject(document, subject),
        others=subjects(document),
    )

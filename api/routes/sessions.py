"""Sessions over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.bodies import BATCH_BYTES
from api.deps import Change, Read, Write
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.models.registry.sessions import SessionCreate, SessionQuery, SessionRead, SessionUpdate
from api.routes.contract import CHANGE, LIST, SHOW, WRITE, StrictRoute
from api.services.registry import sessions

router = APIRouter(prefix="/sessions", tags=["sessions"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=SessionRead, responses=WRITE)
def create_session(session: SessionCreate, write: Write) -> Response:
    """Open a session: one evening at one bench, with its air and wind.

    Before the fan starts: an adult present, nobody in the rotor's plane, eye protection on; the
    school's own risk assessment decides.
    """
    return write.created(sessions.create, session)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[SessionRead],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_sessions(batch: Batch[SessionCreate], write: Write) -> Response:
    """Open several sessions: all of them, or none."""
    return write.created_together(sessions.create, batch)


@router.get("", response_model=Page[SessionRead], responses=LIST)
def list_sessions(query: Annotated[SessionQuery, Query()], read: Read) -> Response:
    """List sessions that the key may see, oldest first."""
    return read.page(sessions.page, query)


@router.get("/{session_id}", response_model=SessionRead, responses=SHOW)
def get_session(session_id: str, read: Read) -> Response:
    """Show a session."""
    return read.one(sessions.get, session_id)


@router.patch("/{session_id}", response_model=SessionRead, responses=CHANGE)
def change_session(session_id: str, changes: SessionUpdate, write: Change) -> Response:
    """Change a session's conditions; its trials are computed and checked again."""
    return write.changed(sessions.change, session_id, changes)

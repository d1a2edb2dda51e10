"""Access keys over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query
from starlette.responses import Response

from api.bodies import BATCH_BYTES
from api.deps import ChangeLead, ReadLead, WriteLead, limits
from api.models.access.keys import KeyCreate, KeyMade, KeyQuery, KeyRead, KeyUpdate
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.routes.contract import CHANGE, LEADS_ONLY, LIST, SHOW, WRITE, StrictRoute
from api.services.access import keys
from api.services.access.idempotency import Answered

router = APIRouter(prefix="/keys", tags=["keys"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=KeyMade, responses=WRITE)
def create_key(key: KeyCreate, write: WriteLead) -> Response:
    """Make an access key. Only the first answer shows its secret and its address, no retry does."""
    limits(write.request).take_today("keys", write.caller.key_id)
    return write.created(keys.create, key, to_store=_without_secret)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[KeyMade],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_keys(batch: Batch[KeyCreate], write: WriteLead) -> Response:
    """Make several access keys: all of them, or none. Only the first answer shows their secrets."""
    for _ in batch.items:
        limits(write.request).take_today("keys", write.caller.key_id)
    return write.created_together(keys.create, batch, to_store=_without_secrets)


@router.get("", response_model=Page[KeyRead], responses=LIST | LEADS_ONLY)
def list_keys(query: Annotated[KeyQuery, Query()], read: ReadLead) -> Response:
    """List access keys that the key may see, oldest first."""
    return read.page(keys.page, query)


@router.get("/{key_id}", response_model=KeyRead, responses=SHOW | LEADS_ONLY)
def get_key(key_id: str, read: ReadLead) -> Response:
    """Show an access key."""
    return read.one(keys.get, key_id)


@router.patch("/{key_id}", response_model=KeyRead, responses=CHANGE)
def change_key(key_id: str, changes: KeyUpdate, write: ChangeLead) -> Response:
    """Change a key, or end it with `revoked: true`."""
    return write.changed(keys.change, key_id, changes)


def _without_secret(answered: Answered) -> Answered:
    """Return the answer without its secret and its address, to store it for retries."""
    return answered.shown_as(KeyRead, exclude={"sign_in_email"})


def _without_secrets(answered: Answered) -> Answered:
    """Return the answer to a batch without its secrets and addresses, to store it for retries."""
    left_out = {"items": {"__all__": {"sign_in_email"}}}
    return answered.shown_as(Batch[KeyRead], exclude=left_out)

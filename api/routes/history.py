"""The change history of one thing, and the audit log, over HTTP."""

from collections.abc import Callable
from typing import Annotated

from fastapi import APIRouter, Path, Query
from sqlmodel import Session
from starlette.responses import Response

from api.deps import Read, ReadLead
from api.models.access.keys import AccessKey
from api.models.core.audit import AuditQuery, AuditRead, HistoryQuery
from api.models.core.pages import Page
from api.models.core.shapes import Recorded
from api.models.imports.imports import ImportBatch
from api.models.measurements.flags import Flag
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.equipment import Equipment
from api.models.registry.events import Event
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.sessions import BenchSession
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine
from api.models.trials.trials import Trial
from api.routes.contract import LEADS_ONLY, LIST, SHOW, StrictRoute
from api.services.core import history
from api.services.core.pages import Rest
from api.services.core.scope import Caller

router = APIRouter(tags=["history"], route_class=StrictRoute)

#: Collections of things with a change history, and the name of one thing.
THINGS: dict[str, tuple[str, type[Recorded]]] = {
    "seasons": ("season", Season),
    "organisations": ("organisation", Organisation),
    "keys": ("key", AccessKey),
    "teams": ("team", Team),
    "equipment": ("equipment", Equipment),
    "turbines": ("turbine", Turbine),
    "builds": ("build", Build),
    "benches": ("bench", Bench),
    "sessions": ("session", BenchSession),
    "trials": ("trial", Trial),
    "events": ("event", Event),
    "flags": ("flag", Flag),
    "imports": ("import", ImportBatch),
}

Verb = Callable[[Session, Caller, HistoryQuery], tuple[list[AuditRead], Rest]]


def _of(table: type[Recorded], row_id: str) -> Verb:
    def verb(db: Session, caller: Caller, query: HistoryQuery) -> tuple[list[AuditRead], Rest]:
        return history.of_thing(db, caller, table, row_id, query)

    return verb


def _add(collection: str, name: str, table: type[Recorded]) -> None:
    """Give one collection the way to a thing's history."""
    named = f"{name}_id"

    def show(
        row_id: Annotated[str, Path(alias=named)],
        query: Annotated[HistoryQuery, Query()],
        read: Read,
    ) -> Response:
        return read.page(_of(table, row_id), query)

    show.__doc__ = (
        f"Show what was done to this {name}, oldest first: who, when, old and new values, and why."
    )
    router.add_api_route(
        f"/{collection}/{{{named}}}/history",
        show,
        name=f"get_{name}_history",
        response_model=Page[AuditRead],
        responses=SHOW,
        summary=f"{name.capitalize()} history",
    )


for _collection, (_name, _table) in THINGS.items():
    _add(_collection, _name, _table)


@router.get("/audit", response_model=Page[AuditRead], responses=LIST | LEADS_ONLY)
def list_audit(query: Annotated[AuditQuery, Query()], read: ReadLead) -> Response:
    """List the whole record, oldest first; narrow it to a season, a kind of thing or a key."""
    return read.page(history.page, query)

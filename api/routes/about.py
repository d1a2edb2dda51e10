"""Operations without a key: health and readiness."""

import shutil
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Request
from pydantic import BaseModel, Field
from sqlalchemy import text
from starlette.responses import Response

from api.deps import database
from api.embedded import JOURNAL, file_of, is_embedded
from api.errors import Busy, Invalid
from api.messages import say
from api.metrics import Metrics
from api.routes.contract import StrictRoute, refusals
from api.schema import is_at_head
from api.services.operations import due_rebuilds, manifests

router = APIRouter(tags=["about"], route_class=StrictRoute)
DISK_LOW_BYTES = 100_000_000


class Health(BaseModel):
    """That the process answers."""

    status: str = "ok"


class Readiness(BaseModel):
    """That the service can take requests."""

    status: str
    schema_at_head: bool
    disk_low: bool
    journal: Annotated[str, Field(description="wal, truncate or server")]
    backup_age_h: Annotated[
        float | None, Field(description="Age of the newest backup; null where none was made. [h]")
    ]


@router.get("/healthz", response_model=Health, responses=refusals(Invalid))
async def get_health() -> Health:
    """Tell that the process answers; asks nothing of the database."""
    return Health()


@router.get("/readyz", response_model=Readiness, responses=refusals(Invalid, Busy))
def get_readiness(request: Request) -> Readiness:
    """Tell whether database, schema and disk are in order."""
    url = request.app.state.settings.database_url
    is_file, file = is_embedded(url), file_of(url)
    if is_file and not file.exists():
        raise Busy(say("refused.no_database_file"))
    with database(request).reading() as db:
        db.connection().execute(text("select 1"))
        at_head = is_at_head(db.connection())
        due = due_rebuilds.due_seasons(db) if at_head else []
    free = shutil.disk_usage(file.parent).free if is_file else DISK_LOW_BYTES
    if not at_head:
        raise Busy(say("refused.old_schema"))
    if due:
        raise Busy(say("refused.rebuild_due", count=len(due)))
    return Readiness(
        status="ready",
        schema_at_head=at_head,
        disk_low=free < DISK_LOW_BYTES,
        backup_age_h=_backup_age(request),
        journal=JOURNAL.lower() if is_file else "server",
    )


def _backup_age(request: Request) -> float | None:
    folder = Path(request.app.state.settings.backup_folder)
    age = manifests.age_hours(folder, datetime.now(UTC))
    return None if age is None else round(age, 1)


def metrics_router(metrics: Metrics) -> APIRouter:
    """Return the way to the counts of this process, for where it was switched on."""
    metrics_routes = APIRouter(include_in_schema=False)

    @metrics_routes.get("/metrics")
    def show_metrics() -> Response:
        counts, media_type = metrics.shown()
        return Response(counts, media_type=media_type)

    return metrics_routes

"""Benches and their wind grids over HTTP."""

from typing import Annotated

from fastapi import APIRouter, Query
from sqlmodel import Session
from starlette.responses import Response

from api.bodies import BATCH_BYTES
from api.deps import Change, Read, Write
from api.models.core.batches import Batch
from api.models.core.pages import Page
from api.models.core.shapes import ListQuery
from api.models.registry.benches import (
    BenchCreate,
    BenchQuery,
    BenchRead,
    BenchUpdate,
    WindGridCreate,
    WindGridOfBench,
    WindGridRead,
)
from api.routes.contract import CHANGE, LIST, SHOW, WRITE, StrictRoute
from api.services.core.pages import Rest
from api.services.core.scope import Caller
from api.services.registry import benches

router = APIRouter(prefix="/benches", tags=["benches"], route_class=StrictRoute)


@router.post("", status_code=201, response_model=BenchRead, responses=WRITE)
def create_bench(bench: BenchCreate, write: Write) -> Response:
    """Register a bench: fan, setting, distance, wind meter and room. A new fan is a new bench."""
    return write.created(benches.create, bench)


@router.post(
    "/batch",
    status_code=201,
    response_model=Batch[BenchRead],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_benches(batch: Batch[BenchCreate], write: Write) -> Response:
    """Register several benches: all of them, or none."""
    return write.created_together(benches.create, batch)


@router.get("", response_model=Page[BenchRead], responses=LIST)
def list_benches(query: Annotated[BenchQuery, Query()], read: Read) -> Response:
    """List benches that the key may see, oldest first."""
    return read.page(benches.page, query)


@router.get("/{bench_id}", response_model=BenchRead, responses=SHOW)
def get_bench(bench_id: str, read: Read) -> Response:
    """Show a bench."""
    return read.one(benches.get, bench_id)


@router.patch("/{bench_id}", response_model=BenchRead, responses=CHANGE)
def change_bench(bench_id: str, changes: BenchUpdate, write: Change) -> Response:
    """Change a bench; once tests were run there, what makes it this bench is fixed."""
    return write.changed(benches.change, bench_id, changes)


@router.post(
    "/{bench_id}/wind-grids", status_code=201, response_model=WindGridRead, responses=WRITE
)
def measure_wind(bench_id: str, grid: WindGridCreate, write: Write) -> Response:
    """Store wind measured over the rotor plane without the rotor; answers speed and spread."""

    def measure(db: Session, caller: Caller, points: WindGridCreate) -> WindGridRead:
        return benches.measure_wind(db, caller, bench_id, points)

    return write.created(measure, grid)


@router.get("/{bench_id}/wind-grids", response_model=Page[WindGridRead], responses=SHOW)
def list_wind_grids(bench_id: str, query: Annotated[ListQuery, Query()], read: Read) -> Response:
    """List the wind grids of a bench, oldest first; the last one counts."""

    def grids(db: Session, caller: Caller, asked: ListQuery) -> tuple[list[WindGridRead], Rest]:
        return benches.wind_grids(db, caller, bench_id, asked)

    return read.page(grids, query)


@router.post(
    "/wind-grids/batch",
    status_code=201,
    response_model=Batch[WindGridRead],
    responses=WRITE,
    max_body_size=BATCH_BYTES,
)
def create_many_wind_grids(batch: Batch[WindGridOfBench], write: Write) -> Response:
    """Store wind measured at several benches: all of it, or none."""

    def measure(db: Session, caller: Caller, grid: WindGridOfBench) -> WindGridRead:
        return benches.measure_wind(db, caller, grid.bench_id, grid)

    return write.created_together(measure, batch)

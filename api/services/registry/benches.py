"""Benches and the wind measured at them."""

from typing import Any

from sqlmodel import Session, col, select

from analysis.wind import equivalent_wind_speed, grid_weights, unevenness
from api.errors import Conflict
from api.messages import say
from api.models.core.shapes import ListQuery
from api.models.registry.benches import (
    Bench,
    BenchCreate,
    BenchQuery,
    BenchRead,
    BenchUpdate,
    WindGrid,
    WindGridCreate,
    WindGridRead,
)
from api.models.registry.organisations import Organisation
from api.models.registry.sessions import BenchSession
from api.services.core import pages, resources, revisions
from api.services.core.pages import Rest
from api.services.core.scope import Caller, require_owner
from api.services.measurements import rechecks
from api.services.registry.equipment import require_kind

#: The fields that identify a bench: its bench bias depends on each of them.
IDENTITY = ("room", "fan_id", "fan_setting", "distance_m", "hub_height_m", "anemometer_id")


def create(db: Session, caller: Caller, bench: BenchCreate) -> BenchRead:
    """Register a bench."""
    resources.get_row(db, caller, Organisation, bench.organisation_id, "organisation_id")
    require_owner(caller, bench.organisation_id)
    _require_kinds(db, caller, bench.model_dump())
    return resources.read(BenchRead, resources.store(db, caller, Bench, bench))


def _require_kinds(db: Session, caller: Caller, facts: dict[str, Any]) -> None:
    require_kind(db, caller, facts.get("fan_id"), "fan", "fan_id")
    require_kind(db, caller, facts.get("anemometer_id"), "anemometer", "anemometer_id")


def get(db: Session, caller: Caller, bench_id: str) -> BenchRead:
    """Return a bench."""
    return resources.read(BenchRead, resources.get_row(db, caller, Bench, bench_id))


def page(db: Session, caller: Caller, query: BenchQuery) -> tuple[list[BenchRead], Rest]:
    """Return a page of benches."""
    rows, after = pages.page(db, caller, Bench, query)
    return [resources.read(BenchRead, row) for row in rows], after


def change(
    db: Session, caller: Caller, bench_id: str, changes: BenchUpdate, version: int
) -> BenchRead:
    """Change a bench; after its first session the fields that identify it cannot change."""
    row = resources.get_row(db, caller, Bench, bench_id)
    require_owner(caller, row.organisation_id)
    _require_kinds(db, caller, changes.model_dump(exclude_unset=True))
    revisions.raise_all(db)
    moved = resources.change(db, caller, row, changes, version)
    fixed_fields = sorted(moved.keys() & set(IDENTITY))
    if fixed_fields and _is_used(db, row.id):
        raise Conflict(say("refused.bench_is_used", bench=row.name, fields=", ".join(fixed_fields)))
    rechecks.recheck(db, rechecks.at_bench(row.id))
    return resources.read(BenchRead, row)


def _is_used(db: Session, bench_id: str) -> bool:
    used = select(BenchSession.id).where(col(BenchSession.bench_id) == bench_id).limit(1)
    return db.scalar(used) is not None


def measure_wind(db: Session, caller: Caller, bench_id: str, grid: WindGridCreate) -> WindGridRead:
    """Store a wind grid measured over the rotor plane; the bench uses its newest grid."""
    bench = resources.get_row(db, caller, Bench, bench_id)
    require_owner(caller, bench.organisation_id)
    speeds = [point.wind_speed_m_s for point in grid.points]
    weights = grid_weights(
        [point.x_radii for point in grid.points], [point.y_radii for point in grid.points]
    )
    revisions.raise_all(db)
    row = resources.store(
        db,
        caller,
        WindGrid,
        grid,
        bench_id=bench.id,
        organisation_id=bench.organisation_id,
        point_count=len(speeds),
        equivalent_wind_speed_m_s=equivalent_wind_speed(speeds, weights),
        unevenness=unevenness(speeds),
        points=[point.model_dump() | {"as_typed": point.typed()} for point in grid.points],
    )
    rechecks.recheck(db, rechecks.at_bench(bench.id))
    return resources.read(WindGridRead, row)


def newest_wind_grid(db: Session, caller: Caller, bench_id: str) -> WindGridRead | None:
    """Return the wind grid that a bench uses: the newest one."""
    bench = resources.get_row(db, caller, Bench, bench_id)
    of_bench = col(WindGrid.bench_id) == bench.id
    rows = resources.newest(db, caller, WindGrid, of_bench, most=1)
    return resources.read(WindGridRead, rows[0]) if rows else None


def wind_grids(
    db: Session, caller: Caller, bench_id: str, query: ListQuery
) -> tuple[list[WindGridRead], Rest]:
    """Return a page of the wind grids of a bench; the newest one is used."""
    bench = resources.get_row(db, caller, Bench, bench_id)
    of_bench = col(WindGrid.bench_id) == bench.id
    rows, after = pages.page(db, caller, WindGrid, query, of_bench)
    return [resources.read(WindGridRead, row) for row in rows], after

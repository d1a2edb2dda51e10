"""Fit wind sweeps again when a trial of one may have changed, and find what depends on them."""

from collections.abc import Collection, Sequence

from sqlalchemy import delete, func, insert
from sqlmodel import Session, col, select

from analysis.trials.inputs import trial_inputs
from analysis.trials.sweeps import LEAST_SWEEPS, BuildSweep, find_sweeps
from api.many_rows import parts
from api.models.measurements.sweeps import WindSweep
from api.models.registry.sessions import BenchSession
from api.models.trials.trials import Trial
from api.services.measurements.frames import read_frame

WIND = "wind"
AT_ONCE = 500  # builds in one statement


def refit_builds(db: Session, season_id: str, build_ids: Sequence[str]) -> set[str]:
    """Fit the sweeps of builds in a season again; return the builds whose fit changed."""
    moved: set[str] = set()
    for part in parts(build_ids, AT_ONCE):
        moved |= _refit(db, season_id, list(part))
    return moved


def _refit(db: Session, season_id: str, build_ids: list[str]) -> set[str]:
    of_builds = col(WindSweep.season_id) == season_id, col(WindSweep.build_id).in_(build_ids)
    before = {
        row.build_id: row.model_dump() for row in db.scalars(select(WindSweep).where(*of_builds))
    }
    rows = (_row(season_id, sweep) for sweep in _sweeps(db, season_id, build_ids))
    after = {row["build_id"]: row for row in rows if row}
    moved = {each for each in build_ids if before.get(each) != after.get(each)}
    if moved:
        db.execute(delete(WindSweep).where(of_builds[0], col(WindSweep.build_id).in_(moved)))
    if changed_rows := [row for build_id, row in after.items() if build_id in moved]:
        db.execute(insert(WindSweep), changed_rows)
    return moved


def benches_depending_on(db: Session, season_id: str, build_ids: Collection[str]) -> set[str]:
    """Return the benches with results that depend on the sweeps of builds.

    These are the benches of the builds' own trials, or all benches of the season once it has enough
    sweeps for a mean exponent.
    """
    if not build_ids:
        return set()
    benches = select(BenchSession.bench_id).join(
        Trial, col(Trial.session_id) == col(BenchSession.id)
    ).where(col(Trial.season_id) == season_id)  # fmt: skip
    sweeps = select(func.count()).select_from(WindSweep).where(
        col(WindSweep.season_id) == season_id
    )  # fmt: skip
    # Each of these builds may have lost a sweep that counted before.
    if (db.scalar(sweeps) or 0) + len(build_ids) < LEAST_SWEEPS:
        benches = benches.where(col(Trial.build_id).in_(build_ids))
    return set(db.scalars(benches.distinct()))


def _sweeps(db: Session, season_id: str, build_ids: list[str]) -> list[BuildSweep]:
    frame = read_frame(
        db,
        col(Trial.season_id) == season_id,
        col(Trial.build_id).in_(build_ids),
        col(Trial.kind) == WIND,
    )
    return find_sweeps(frame.trials, frame.runs, trial_inputs(frame.trials, frame.runs))


def _row(season_id: str, sweep: BuildSweep) -> dict[str, object] | None:
    """Return the row of a sweep, or None if the sweep must not be used."""
    if sweep.fit is None or sweep.reason:
        return None
    slowest, fastest = sweep.fit.covers_m_s
    return {
        "build_id": sweep.build_id,
        "season_id": season_id,
        "exponent": sweep.fit.exponent,
        "standard_error": sweep.fit.standard_error,
        "slowest_m_s": slowest,
        "fastest_m_s": fastest,
    }

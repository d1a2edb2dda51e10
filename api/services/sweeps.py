"""Wind sweeps fitted anew whenever a trial of one may have changed."""

from collections import defaultdict
from collections.abc import Sequence

from sqlalchemy import ColumnElement, delete, insert
from sqlmodel import Session, col, select

from analysis.sweeps import BuildSweep, find_sweeps
from analysis.trial_inputs import trial_inputs
from api.models.sweeps import WindSweep
from api.models.trials import Trial
from api.services.frames import read_frame

WIND = "wind"
AT_ONCE = 500  # builds in one statement


def refit(db: Session, *conditions: ColumnElement[bool]) -> None:
    """Fit again the sweeps that trials under some conditions belong to."""
    touched = select(Trial.season_id, Trial.build_id).where(*conditions, col(Trial.kind) == WIND)
    builds: dict[str, list[str]] = defaultdict(list)
    for season_id, build_id in db.execute(touched.distinct()):
        builds[season_id].append(build_id)
    for season_id, ids in builds.items():
        refit_builds(db, season_id, sorted(ids))


def refit_builds(db: Session, season_id: str, build_ids: Sequence[str]) -> None:
    """Fit again the sweeps of some builds in a season."""
    for start in range(0, len(build_ids), AT_ONCE):
        _refit(db, season_id, list(build_ids[start : start + AT_ONCE]))


def _refit(db: Session, season_id: str, build_ids: list[str]) -> None:
    mine = col(WindSweep.season_id) == season_id, col(WindSweep.build_id).in_(build_ids)
    db.execute(delete(WindSweep).where(*mine))
    rows = [_row(season_id, sweep) for sweep in _found(db, season_id, build_ids)]
    known = [row for row in rows if row]
    if known:
        db.execute(insert(WindSweep), known)


def _found(db: Session, season_id: str, build_ids: list[str]) -> list[BuildSweep]:
    frame = read_frame(
        db,
        col(Trial.season_id) == season_id,
        col(Trial.build_id).in_(build_ids),
        col(Trial.kind) == WIND,
    )
    return find_sweeps(frame.trials, frame.runs, trial_inputs(frame.trials, frame.runs))


def _row(season_id: str, sweep: BuildSweep) -> dict[str, object] | None:
    """Return what is kept of a sweep; nothing where it is not to be used."""
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

"""Compare cached results of trials with results computed from their facts."""

from sqlmodel import Session, select

from api.models.measurements.results import CachedResult
from api.models.trials.trials import Trial
from api.services.measurements import flags, results


def out_of_date(db: Session) -> list[str]:
    """Return the trials whose cached result differs from a newly computed one."""
    fresh = results.computed(db, list(db.scalars(select(Trial.id).where(flags.not_withdrawn))))
    cached = {
        row.trial_id: tuple(getattr(row, name) for name in results.CACHED)
        for row in db.scalars(select(CachedResult))
    }
    return sorted(
        each for each in fresh.keys() | cached.keys() if cached.get(each) != fresh.get(each)
    )

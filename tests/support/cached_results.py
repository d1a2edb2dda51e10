"""Whether what is kept of trials' results is what their facts come to now."""

from sqlmodel import Session, select

from api.models.measurements.results import CachedResult
from api.models.trials.trials import Trial
from api.services.measurements import flags, results


def out_of_date(db: Session) -> list[str]:
    """Return trials of whose results something else is kept than a fresh look finds, or nothing."""
    fresh = results.computed(db, list(db.scalars(select(Trial.id).where(flags.not_withdrawn))))
    kept = {
        row.trial_id: tuple(getattr(row, name) for name in results.CACHED)
        for row in db.scalars(select(CachedResult))
    }
    return sorted(each for each in fresh.keys() | kept.keys() if kept.get(each) != fresh.get(each))

"""Whether what is kept of trials' results is what their facts come to now."""

from sqlmodel import Session, col, select

from api.models.results import KeptResult
from api.models.trials import Trial
from api.services import flags, results


def out_of_date(db: Session) -> list[str]:
    """Return trials of whose results something else is kept than a fresh look finds, or nothing."""
    counted = list(db.scalars(select(Trial.id).where(col(Trial.state) != flags.WITHDRAWN)))
    fresh = results.computed(db, counted)
    words = ("formula", "numbers", *results.WORDS)
    kept = {
        row.trial_id: tuple(getattr(row, name) for name in words)
        for row in db.scalars(select(KeptResult))
    }
    return sorted(each for each in fresh.keys() | kept.keys() if kept.get(each) != fresh.get(each))

"""Whether what is kept of trials' results is what their facts come to now."""

from sqlmodel import Session, col, select

from analysis.trial_result import FORMULA
from api.models.results import KeptResult
from api.models.trials import Trial
from api.services import flags, results


def out_of_date(db: Session) -> list[str]:
    """Return trials of whose results something else is kept than a fresh look finds, or nothing."""
    counted = col(Trial.state) != flags.WITHDRAWN
    fresh = results.computed(db, counted)
    kept = {row.trial_id: (row.formula, row.numbers) for row in db.scalars(select(KeptResult))}
    return sorted(
        trial_id
        for trial_id in fresh.keys() | kept.keys()
        if kept.get(trial_id) != (FORMULA, fresh.get(trial_id))
    )

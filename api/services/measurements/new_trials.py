"""Check trials that were just stored with the few older ones that their checks look back at.

The cost hardly depends on how many trials their bench has. Where the checks could find something
else than with the complete bench, nothing is checked, and the caller checks the complete bench.
"""

import numpy as np
from sqlmodel import Session

from analysis.checks.newest_trials import NEEDS_ALL, USUAL_VALUES, check_newest
from analysis.trials.results import trial_results
from api.services.measurements import flags, results
from api.services.measurements.frames import read_checked_trials
from api.services.measurements.older_trials import NewTrials, OlderTrials, older_trials

MOST = 64  # new trials that are checked so; more are as fast with their complete bench


def check(db: Session, new: NewTrials) -> set[str] | None:
    """Compute the results and flags of new trials, and update those that they change.

    Return the schools of the trials that were looked at, and the bench's. If complete benches must
    be checked, do nothing and return None.
    """
    if any(row.kind in NEEDS_ALL for row in new.rows):
        return None
    older = older_trials(db, new)
    return None if older is None else _check(db, new, older)


def _check(db: Session, new: NewTrials, older: OlderTrials) -> set[str] | None:
    trial_ids = [*older.ids, *new.ids]
    stored = flags.stored_of(db, new.season_id, trial_ids, new.sessions)
    if any(rule in USUAL_VALUES and flag.state == flags.CONFIRMED
           for (_, rule), flag in stored.items()):  # fmt: skip
        return None
    frame = read_checked_trials(db, trial_ids)
    computed = trial_results(frame.trials, frame.runs)
    rows = results.rows_of(frame, computed)
    results.insert(db, {each: rows[each] for each in new.ids})
    is_new = np.isin(frame.trials["trial_id"], new.ids)
    view = flags.view_of(frame, computed, stored, settled=~is_new)
    checked = check_newest(view, has_complete_builds=older.has_complete_builds)
    decided = {place: flag for place, flag in stored.items() if checked.decides(place)}
    flags.sync(db, new.season_id, view, checked.findings, decided)
    flags.hold(db, view, checked.held)
    owners = (frame.trials[each] for each in ("organisation_id", "bench_organisation_id"))
    return {owner for each in owners for owner in each.tolist()}

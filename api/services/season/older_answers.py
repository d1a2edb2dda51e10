"""Decide whether a large season's answer may be shown while a newer one is made.

After one write a large season is compared again, which takes a second or ten. The key that wrote
and the schools that the write concerns wait for that; all others get the answer of a moment ago,
with its time, and the newer one as soon as it is made.
"""

import time

from sqlmodel import Session

from api.models.registry.seasons import Season
from api.services.core.cache import cache_of
from api.services.core.changes import Change, log_of
from api.services.core.scope import Caller
from api.services.measurements.season_trials import LARGE_SEASON

MOST_BEHIND_S = 60.0  # an answer is never older than that


def may_be_shown(db: Session, caller: Caller, season: Season, revision: int) -> bool:
    """Tell whether an answer of an older revision may be shown to a caller for now."""
    trials = cache_of(db).newest(("trials", season.id, None), 0)
    if trials is None or len(trials[1]) < LARGE_SEASON:
        return False
    changes = log_of(db.get_bind().engine).between(season.id, revision, season.revision)
    if not changes or time.monotonic() - changes[0].at_s > MOST_BEHIND_S:
        return False
    return not any(_concerns(change, caller) for change in changes)


def _concerns(change: Change, caller: Caller) -> bool:
    """Tell whether a caller wrote a change, or it is about the caller's schools or everybody.

    Other facts than trials concern everybody: a name that was changed, or is no longer shared, must
    not be shown any more.
    """
    if not change.only_trials or change.organisations is None or caller.key_id in change.keys:
        return True
    own = caller.organisation_ids
    return own is not None and not own.isdisjoint(change.organisations)

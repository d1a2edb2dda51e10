"""Decide whether a large season's answer may be shown while a newer one is made.

After one write a large season is compared again, which takes a second or ten. The key that wrote
and the schools that the write concerns wait for that; all others get the answer of a moment ago,
with its time, and the newer one as soon as it is made.
"""

import time

from sqlmodel import Session

from api.models.registry.seasons import Season
from api.services.core.cache import cache_of
from api.services.core.changes import Change, changes_since
from api.services.core.scope import Caller
from api.services.measurements.season_trials import LARGE_SEASON
from api.services.publishing.published import shows_the_same

#: How old an answer may be that others' changes have not reached yet: for a key that sees all, and
#: for one that sees others' trials as published. [s]
MOST_BEHIND_S, MOST_BEHIND_PUBLISHED_S = 60.0, 300.0


def may_be_shown(db: Session, caller: Caller, season: Season, revision: int) -> bool:
    """Tell whether an answer of an older revision may be shown to a caller for now."""
    if not _is_large(db, season):
        return False
    most_s = MOST_BEHIND_S if caller.sees_unpublished_of is None else MOST_BEHIND_PUBLISHED_S
    changes = changes_since(db, season, revision)
    if not changes or time.monotonic() - changes[0].at_s > most_s:
        return False
    return not any(_concerns(change, caller) for change in changes)


def still_holds(
    db: Session, caller: Caller, season: Season, revision: int, *, is_of_own: bool = False
) -> bool:
    """Tell whether a large season's answer of an older revision is right for a caller today.

    It is for a key that sees others' trials as published, if these are still the ones shown, and
    if no change since then concerns the key. An answer `is_of_own` if it has nothing of others.
    """
    if caller.sees_unpublished_of is None or not _is_large(db, season):
        return False
    changes = changes_since(db, season, revision)
    if changes is None or any(_concerns(change, caller) for change in changes):
        return False
    return is_of_own or shows_the_same(db, season, revision)


def _is_large(db: Session, season: Season) -> bool:
    trials = cache_of(db).newest(("trials", season.id, None), 0)
    return trials is not None and len(trials[1]) >= LARGE_SEASON


def _concerns(change: Change, caller: Caller) -> bool:
    """Tell whether a caller wrote a change, or it is about the caller's schools or everybody.

    Other facts than trials concern everybody: a name that was changed, or is no longer shared, must
    not be shown any more.
    """
    if not change.only_trials or change.organisations is None or caller.key_id in change.keys:
        return True
    own = caller.organisation_ids
    return own is not None and not own.isdisjoint(change.organisations)

"""How a season's trials differ from those published last, and whether that hides each of them."""

import hashlib
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from api.services.frames import Array
from api.services.packed_trials import columns_of
from api.services.season_trials import SeasonTrials

#: So many trials, of so many schools, make a move that hides each of them.
LEAST_TRIALS, LEAST_SCHOOLS = 5, 2
#: So long after a change was first seen whatever there is is published: it is old news by then.
LONGEST = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Moved:
    """The trials that came, went or have other numbers, one value for each."""

    school: Array
    #: Whose bench it is: that school may move others' results, by correcting its own session.
    host: Array
    #: Whether it was never published like this: it differs from every earlier publication.
    is_new: Array

    def outside(self, own: frozenset[str]) -> bool:
        """Tell whether any is of a school that is not among these."""
        return not set(self.school.tolist()) <= own

    def may_be_shown_to(self, own: frozenset[str], nights: int) -> bool:
        """Tell whether the moved trials of others may be shown to who knows its own schools'.

        At once where they are many and of two schools or more, where they are of one some nights
        after the first of them was seen. What it can move itself, or knows from an earlier
        publication, hides nothing.
        """
        if not self.outside(own) or nights >= LONGEST.days:
            return True
        schools, hosts = self.school.tolist(), self.host.tolist()
        new = [
            school
            for school, host, is_new in zip(schools, hosts, self.is_new.tolist(), strict=True)
            if is_new and school not in own and host not in own
        ]
        return len(new) >= LEAST_TRIALS and (nights > 0 or len(set(new)) >= LEAST_SCHOOLS)

    def may_be_shown(self, reaches: Collection[frozenset[str]], nights: int) -> bool:
        """Tell whether the moved trials may be shown to keys of all these reaches."""
        return all(self.may_be_shown_to(own, nights) for own in reaches)


def nights_between(since: datetime, now: datetime, zone: str) -> int:
    """Return how many nights lie between two moments where the season is held."""
    first, last = (moment.astimezone(ZoneInfo(zone)).date() for moment in (since, now))
    return (last - first).days


def moved_trials(
    before: SeasonTrials, after: SeasonTrials, shown: Array, hosts: dict[str, str]
) -> Moved:
    """Return what moved, by the states that were ever published and the owner of each bench."""
    gone, at_old, at_new, come = _places(before, after)
    has_moved = _differ(before, after, at_old, at_new)
    there = after.in_order(np.concatenate([at_new[has_moved], come]))
    left = before.in_order(gone)
    states = np.concatenate([states_of(there), absences_of(left)])
    schools = [part.trials["organisation_id"].astype(str) for part in (there, left)]
    benches = [bench for part in (there, left) for bench in part.trials["bench_id"].tolist()]
    return Moved(
        school=np.concatenate(schools),
        host=np.array([hosts.get(str(bench), "") for bench in benches], dtype=object),
        is_new=~np.isin(states, shown),
    )


def states_shown(before: SeasonTrials | None, after: SeasonTrials, shown: Array) -> Array:
    """Return the states that were ever published, with those of a further publication."""
    states = [shown, states_of(after)]
    if before is not None:
        gone, _, _, come = _places(before, after)
        states += [absences_of(before.in_order(gone)), absences_of(after.in_order(come))]
    return np.unique(np.concatenate(states))


def states_of(trials: SeasonTrials) -> Array:
    """Return a number for each trial that tells its values from others."""
    columns = [*trials.trials.values(), *columns_of(trials.results).values()]
    rows = zip(*(column.tolist() for column in columns), strict=True)
    return _digests(repr(row) for row in rows)


def absences_of(trials: SeasonTrials) -> Array:
    """Return a number for each trial that stands for its not being there."""
    return _digests(f"no {trial_id}" for trial_id in trials.trials["trial_id"].tolist())


def _digests(texts: Iterable[str]) -> Array:
    whole = b"".join(hashlib.blake2b(text.encode(), digest_size=8).digest() for text in texts)
    return np.frombuffer(whole, dtype="<u8")


def _places(before: SeasonTrials, after: SeasonTrials) -> tuple[Array, Array, Array, Array]:
    """Return where trials went, where both have them, each in its order, and where they came."""
    # Sets of texts: numpy would sort them, which takes ten times as long.
    old, new = (
        {trial_id: at for at, trial_id in enumerate(trials.trials["trial_id"].tolist())}
        for trials in (before, after)
    )
    both = old.keys() & new.keys()
    places = (
        (old[each] for each in old.keys() - both),
        (old[each] for each in both),
        (new[each] for each in both),
        (new[each] for each in new.keys() - both),
    )
    gone, at_old, at_new, come = (np.array(list(each), dtype=np.int64) for each in places)
    return gone, at_old, at_new, come


def _differ(before: SeasonTrials, after: SeasonTrials, at_old: Array, at_new: Array) -> Array:
    """Return which of the trials that both have differ; two unknown numbers are alike."""
    differ = np.zeros(len(at_old), dtype=bool)
    for name in before.trials:
        differ |= before.trials[name][at_old] != after.trials[name][at_new]
    was, became = columns_of(before.results), columns_of(after.results)
    for name in was:
        one, other = was[name][at_old], became[name][at_new]
        differ |= ~np.isclose(one, other, rtol=0, atol=0, equal_nan=True)
    return differ

"""Find the groups of builds that can be compared, because benches or visits connect them."""

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray
from analysis.numeric.groups import Groups, Pairs, group_by, pair_up

LINK_WEEKS = 8.0  # [weeks], a link between benches older than this does not count


def connected_builds(
    builds: Groups, benches: Groups, age_weeks: npt.ArrayLike | None = None
) -> tuple[list[list[str]], dict[str, int]]:
    """Return the builds that trials at benches join, the largest group first; and benches' groups.

    Parameters
    ----------
    builds, benches : Groups
        The build and the bench of each of n trials.
    age_weeks : array-like, shape (n,), optional
        Age of each trial. A build tested at several benches joins them while its trials there are
        at most eight weeks old; it always belongs to the bench where it was tested most. [weeks]

    Returns
    -------
    tuple of list of list of str, and dict of str to int
        Builds of each group; and the position of each bench's group. A bench at which no build
        belongs to a group any more is in none.

    Examples
    --------
    >>> builds, benches = group_by(np.array(["a", "rotor", "b", "rotor", "c"])), group_by(
    ...     np.array(["1", "1", "2", "2", "3"]))
    >>> connected_builds(builds, benches)
    ([['a', 'b', 'rotor'], ['c']], {'1': 0, '2': 0, '3': 1})
    """
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    pairs = pair_up(builds, benches)
    joined = np.ones(pairs.count.size, dtype=bool)
    if age_weeks is not None:
        newest = np.full(pairs.count.size, np.inf)
        np.minimum.at(newest, pairs.codes, np.asarray(age_weeks, dtype=np.float64))
        joined = _still_joined(pairs, newest)
    size = builds.size + benches.size
    edges = (pairs.one[joined], builds.size + pairs.other[joined])
    graph = coo_array((np.ones(int(joined.sum())), edges), shape=(size, size))
    _, component = connected_components(graph, directed=False)
    members: dict[int, list[str]] = {}
    for label, group in zip(builds.labels, component[: builds.size], strict=True):
        members.setdefault(int(group), []).append(str(label))
    order = sorted(members, key=lambda each: (-len(members[each]), members[each]))
    place = {each: at for at, each in enumerate(order)}
    of_bench = component[builds.size :].tolist()
    return [members[each] for each in order], {
        str(label): place[each]
        for label, each in zip(benches.labels, of_bench, strict=True)
        if each in place
    }


def _still_joined(pairs: Pairs, age_weeks: FloatArray) -> npt.NDArray[np.bool_]:
    """Return a mask of the (build, bench) pairs that still count as links.

    A build tested at several benches links them while its trials are not too old; a build always
    belongs to the bench where it was tested most.
    """
    joined = age_weeks <= LINK_WEEKS
    by_build = group_by(pairs.one)
    has_bench = by_build.largest(joined.astype(float)) > 0
    order = np.lexsort([-pairs.count, by_build.codes])
    at_home = np.zeros(pairs.count.size, dtype=bool)
    at_home[order[np.unique(by_build.codes[order], return_index=True)[1]]] = True
    still: npt.NDArray[np.bool_] = joined | (at_home & ~has_bench[by_build.codes])
    return still

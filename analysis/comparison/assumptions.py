"""Show how much a comparison depends on an assumption that the season cannot test."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy.typing as npt

from analysis.comparison.fit import SeasonFit, fit_season
from analysis.comparison.pairs import Pair, compare_each


@dataclass(frozen=True, slots=True)
class PairChange:
    """Two builds, the more likely leader first: the probability that it is ahead, and another one.

    `before` is that of the season's fit, `after` that of a fit in which one thing differs.
    """

    a: str
    b: str
    before: float
    after: float


def change_of(before: Pair, after: Pair) -> PairChange | None:
    """Return how a comparison changes; None if one of both is not known yet.

    Parameters
    ----------
    before, after : Pair
        Comparisons of the same builds by two fits.

    Returns
    -------
    PairChange or None
        With the build first that is ahead by the first fit.
    """
    one, other = before.probability_a_ahead, after.probability_a_ahead
    if one is None or other is None:
        return None
    if one >= 0.5:
        return PairChange(before.a, before.b, one, other)
    return PairChange(before.b, before.a, 1 - one, 1 - other)


def pairs_with_interaction(
    trials: Mapping[str, npt.ArrayLike],
    fit: SeasonFit,
    pairs: Sequence[tuple[str, str]],
    interaction: float,
    age_weeks: npt.ArrayLike | None = None,
) -> list[PairChange]:
    """Return what pairs would be like if builds differed more, or less, from bench to bench.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        The frame that `fit_season` fitted.
    fit : SeasonFit
        Its fit; its other spreads are used again.
    pairs : sequence of (str, str)
        Pairs of builds.
    interaction : float
        Standard deviation of a build's ln power over benches. [-]
    age_weeks : array-like, shape (n,), optional
        Age of each trial, as for `fit_season`. [weeks]

    Returns
    -------
    list of PairChange
        Of the pairs that both fits can compare.

    Examples
    --------
    >>> trials = {"log_power": [-3.0, -2.8, -3.2, -2.8], "u_own": [0.03] * 4,
    ...     "build_id": ["a", "ref", "b", "ref"], "team_id": ["x", "", "y", ""],
    ...     "bench_id": ["1", "1", "2", "2"], "session_id": list("stuv")}
    >>> [pair] = pairs_with_interaction(trials, fit_season(trials), [("a", "b")], 0.10)
    >>> round(pair.before, 2), round(pair.after, 2)
    (0.88, 0.8)
    """
    other = replace(fit.spread, interaction=interaction)
    again = fit_season(trials, spread=other, age_weeks=age_weeks)
    both = zip(compare_each(fit, pairs), compare_each(again, pairs), strict=True)
    return [change for before, after in both if (change := change_of(before, after)) is not None]

"""Show what each bench does to the order: the season fitted again without it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.comparison.assumptions import PairChange, change_of
from analysis.comparison.fit import SeasonFit, fit_season
from analysis.comparison.pairs import Pair, compare_all
from analysis.numeric.groups import group_by

MOST_BENCHES, MOST_TRIALS = 40, 20_000  # fitted again for each bench, while somebody waits


@dataclass(frozen=True, slots=True)
class BenchInfluence:
    """What a bench does to the comparison of the builds that were tested elsewhere as well.

    `largest_shift` is the most that leaving the bench out moves a build against the mean of all
    these builds, in ln power; `reversed` are the pairs whose more likely leader changes, the surest
    first; `only_link` counts the pairs that cannot be compared without the bench.
    """

    bench_id: str
    builds: int
    largest_shift: float
    largest_shift_of: str
    reversed: list[PairChange]
    only_link: int


def can_leave_out(trials: Mapping[str, npt.ArrayLike], fit: SeasonFit) -> bool:
    """Tell whether a season is small enough to be fitted again without each bench."""
    return (
        len(fit.bench_ids) <= MOST_BENCHES and len(np.asarray(trials["log_power"])) <= MOST_TRIALS
    )


def bench_influences(
    trials: Mapping[str, npt.ArrayLike],
    fit: SeasonFit,
    builds: Sequence[str],
    age_weeks: npt.ArrayLike | None = None,
) -> list[BenchInfluence]:
    """Return the influence of each bench on the order of builds.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        The frame that `fit_season` fitted.
    fit : SeasonFit
        Its fit; its spreads are used again.
    builds : sequence of str
        Builds whose order matters; those that ran nowhere but at the bench left out are not judged.
    age_weeks : array-like, shape (n,), optional
        Age of each trial, as for `fit_season`. [weeks]

    Returns
    -------
    list of BenchInfluence
        In the order of the fit's benches; those without which fewer than two of the builds remain
        are left out.

    Examples
    --------
    >>> trials = {"log_power": [-3.0, -2.8, -3.2, -3.1, -3.0], "u_own": [0.04] * 5,
    ...     "build_id": ["a", "ref", "b", "ref", "ref"], "team_id": ["x", "", "y", "", ""],
    ...     "bench_id": ["1", "1", "2", "2", "3"], "session_id": list("stuvw")}
    >>> found = bench_influences(trials, fit_season(trials), ["a", "b"])
    >>> [(each.bench_id, each.reversed, each.only_link) for each in found]
    [('3', [], 0)]
    """
    columns = {name: np.asarray(column) for name, column in trials.items()}
    age = None if age_weeks is None else np.asarray(age_weeks)
    benches = group_by(columns["bench_id"])
    influences = []
    for at, bench_id in enumerate(benches.labels.tolist()):
        stays = benches.codes != at
        elsewhere = set(columns["build_id"][stays].tolist())
        judged = [build for build in builds if build in elsewhere]
        if len(judged) > 1:
            part = {name: column[stays] for name, column in columns.items()}
            again = fit_season(
                part, spread=fit.spread, age_weeks=None if age is None else age[stays]
            )
            influences.append(_influence(str(bench_id), fit, again, judged))
    return influences


def _influence(
    bench_id: str, fit: SeasonFit, again: SeasonFit, builds: list[str]
) -> BenchInfluence:
    moved = np.array([again.effects[build] - fit.effects[build] for build in builds])
    moved -= moved.mean()
    furthest = int(np.argmax(np.abs(moved)))
    both = list(zip(compare_all(fit, builds), compare_all(again, builds), strict=True))
    return BenchInfluence(
        bench_id=bench_id,
        builds=len(builds),
        largest_shift=float(moved[furthest]),
        largest_shift_of=builds[furthest],
        reversed=_reversed(both),
        only_link=sum(
            before.probability_a_ahead is not None and after.probability_a_ahead is None
            for before, after in both
        ),
    )


def _reversed(both: list[tuple[Pair, Pair]]) -> list[PairChange]:
    """Return the pairs whose more likely leader changes, those that seemed surest first."""
    changes = [change for before, after in both if (change := change_of(before, after)) is not None]
    reversed_pairs = [each for each in changes if each.before > 0.5 > each.after]
    return sorted(reversed_pairs, key=lambda each: -each.before)

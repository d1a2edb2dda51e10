"""Fit builds of several schools on one scale, as far as reference rotors and visits connect them.

A trial's ln power is the sum of effects of its team, its build, its bench and its session, of an
interaction of that build with that bench, and of scatter:

    y = μ + t_team + θ_build + s_bench + q_session + g_(build, bench) + a z_team + b x_team + e

with a and b what one standard deviation of the wind and of the density exponent moves it by.
All terms but μ are drawn towards zero by what is known of their size (best
linear unbiased prediction), and odd trials count less (Huber). With trials
enough, how much sessions and runs scatter is taken from the season itself.

References
----------
.. [1] Robinson, G. K., "That BLUP is a good thing", Statist. Sci. 6 (1991) 15-32, as R metafor's
   `blup` cites it.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, IntArray
from analysis.comparison.connections import connected_builds
from analysis.comparison.design import Spread
from analysis.comparison.odd_trials import contradictory, predicted_off, set_aside
from analysis.comparison.residuals import ResidualCheck
from analysis.comparison.reweighting import (
    MeasuredSeason,
    estimated_spread,
    fit_from_nothing,
    fit_robustly,
    has_enough,
)
from analysis.comparison.solver import Solution
from analysis.numeric.groups import Groups

ROUNDS_AGAIN = 3  # of reweighting, at most, where a few trials were set aside
BENCHES_TOGETHER = 500  # up to which their covariance is calculated
ROUNDS_ASIDE = 5  # of setting unexpected trials aside, at most
SCATTER_MOVED_BY = 0.002  # [-], share of trials set aside from which the scatter is estimated again


@dataclass(frozen=True)
class SeasonFit:
    """The effects of builds and benches on ln power, and the builds that can be compared.

    `log_power` is μ + t + θ of each build: ln of its power at an average bench. `groups` are the
    builds that benches connect; between groups there are only priors, so they are not compared.
    `spread` was assumed or, with enough trials, estimated (`is_estimated`).
    """

    build_ids: list[str]
    log_power: FloatArray
    bench_ids: list[str]
    bench_effect: FloatArray
    bench_u: FloatArray
    session_ids: list[str]
    session_effect: FloatArray
    groups: list[list[str]]
    bench_group: dict[str, int]
    weights: FloatArray
    #: Of each trial: ln power less what all others predict, its z, and whether it is left out.
    predicted_off: FloatArray
    predicted_z: FloatArray
    is_aside: npt.NDArray[np.bool_]
    #: The builds whose trials contradict each other so far that their power is unknown.
    contradictory: frozenset[str]
    spread: Spread
    is_estimated: bool
    _solution: Solution

    @cached_property
    def is_interaction_estimated(self) -> bool:
        """Tell whether builds' spread over benches was estimated, and not assumed.

        It takes two builds at several benches: with one, a bench's bias explains all of it.
        """
        model = self._solution.model
        travellers = np.unique(model.pairs.labels // max(model.terms["bench"].size, 1))
        return self.is_estimated and len(travellers) > 1

    @property
    def builds(self) -> Groups:
        """Return the build of each trial."""
        return self._solution.model.builds

    @property
    def benches(self) -> Groups:
        """Return the bench of each trial."""
        return self._solution.model.terms["bench"]

    @property
    def sessions(self) -> Groups:
        """Return the session of each trial."""
        return self._solution.model.terms["session"]

    @cached_property
    def bench_of_session(self) -> dict[str, str]:
        """Return the bench of each session."""
        model = self._solution.model
        bench = np.empty(len(self.session_ids), dtype=np.int64)
        bench[model.session_of_cell] = model.bench_of_cell
        return {
            session_id: self.bench_ids[at]
            for session_id, at in zip(self.session_ids, bench.tolist(), strict=True)
        }

    def sessions_of(self, build_ids: Collection[str]) -> list[tuple[str, str]]:
        """Return the pairs of build and session in which any of these builds was tested."""
        model = self._solution.model
        asked = self._positions([each for each in build_ids if each in self._position])
        at = np.flatnonzero(np.isin(model.build_of_cell, asked))
        pairs = zip(model.build_of_cell[at].tolist(), model.session_of_cell[at].tolist(),
                    strict=True)  # fmt: skip
        return [(self.build_ids[build], self.session_ids[session]) for build, session in pairs]

    @cached_property
    def effects(self) -> dict[str, float]:
        """Return ln power by build."""
        return dict(zip(self.build_ids, self.log_power.tolist(), strict=True))

    @cached_property
    def covariance(self) -> FloatArray:
        """Return the covariance of ln power of all builds, in the order of `build_ids`."""
        return self.covariance_of(self.build_ids)

    def covariance_of(self, build_ids: Sequence[str]) -> FloatArray:
        """Return the covariance of ln power of these builds, in their order."""
        return self._solution.covariance(self._solution.builds(self._positions(build_ids)))

    def covariance_relative_to(self, other: str, build_ids: Sequence[str]) -> FloatArray:
        """Return the covariance of the differences of ln power of some builds to another one."""
        whole = self.covariance_of([*build_ids, other])
        apart = np.column_stack([np.eye(len(build_ids)), -np.ones(len(build_ids))])
        relative: FloatArray = apart @ whole @ apart.T
        return relative

    def _positions(self, build_ids: Sequence[str]) -> IntArray:
        return np.array([self._position[build_id] for build_id in build_ids], dtype=np.int64)

    @cached_property
    def _position(self) -> dict[str, int]:
        return {build_id: i for i, build_id in enumerate(self.build_ids)}

    def covariance_with(
        self, build_ids: Sequence[str], readings: Sequence[tuple[str, str]]
    ) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
        """Return the covariance of builds and of readings that (build, bench) pairs would give.

        Also return a mask of the pairs that were never tested: their interaction is not included.
        """
        bench = {bench_id: i for i, bench_id in enumerate(self.bench_ids)}
        read = self._positions([build_id for build_id, _ in readings])
        at = np.array([bench[bench_id] for _, bench_id in readings], dtype=np.int64)
        builds = self._solution.builds(self._positions(build_ids))
        there, is_new = self._solution.readings(read, at)
        return self._solution.covariance(builds.and_then(there)), is_new

    def u_of_readings(self, build_id: str, bench_ids: Sequence[str]) -> FloatArray:
        """Return the standard uncertainty of what a build gives at benches, without scatter."""
        bench = {bench_id: i for i, bench_id in enumerate(self.bench_ids)}
        at = np.array([bench[bench_id] for bench_id in bench_ids], dtype=np.int64)
        readings, _ = self._solution.readings(self._positions([build_id] * len(at)), at)
        return np.sqrt(np.maximum(self._solution.variances(readings), 0.0))

    def u_differences(self, other: str) -> dict[str, float]:
        """Return the standard uncertainty of each build's difference of ln power to one build."""
        uncertainties = self.u_of_pairs([(build_id, other) for build_id in self.build_ids])
        return dict(zip(self.build_ids, uncertainties.tolist(), strict=True))

    def u_of_pairs(self, pairs: Sequence[tuple[str, str]]) -> FloatArray:
        """Return the standard uncertainty of the difference of ln power of each pair."""
        solution = self._solution
        one, other = (solution.builds(self._positions(each)) for each in zip(*pairs, strict=True))
        return np.sqrt(np.maximum(solution.variances(one.minus(other)), 0.0))

    def u_difference(self, one: str, other: str) -> float:
        """Return the standard uncertainty of the difference of ln power of two builds."""
        return float(self.u_of_pairs([(one, other)])[0])

    def bench_u_from_mean(self) -> FloatArray:
        """Return the standard uncertainty of each bench's effect less the mean of all effects.

        What all benches share is not known well, and matters for none of their differences.
        """
        if len(self.bench_ids) > BENCHES_TOGETHER:
            return self.bench_u  # more than a season's table of benches can hold: an upper limit
        together = self._solution.covariance(self._solution.of_terms("bench"))
        with_mean = together.mean(axis=0)
        variance = np.diag(together) - 2 * with_mean + together.mean()
        apart: FloatArray = np.sqrt(np.maximum(variance, 0.0))
        return apart

    @cached_property
    def group_of(self) -> dict[str, int]:
        """Return the position in `groups` of each build's group."""
        return {build_id: i for i, group in enumerate(self.groups) for build_id in group}

    def check_residuals(self) -> ResidualCheck:
        """Return how trials scatter about what all other trials predict of them.

        Without those that are set aside, and those of builds that have no other trial.
        """
        builds = self._solution.model.builds
        judged = (builds.count() > 1)[builds.codes] & ~self.is_aside
        if not judged.any():
            return ResidualCheck(1.0, 0)
        z = self.predicted_z[judged]
        return ResidualCheck(float(np.sqrt(np.mean(z**2))), int(judged.sum()))


@dataclass(frozen=True, slots=True)
class Start:
    """An earlier fit of almost the same trials, where the fit of a season with few changes begins.

    `weights` are those of each trial by the earlier fit: 1 for a new one, 0 for one that is set
    aside. Where another trial of its build or session changed, a trial that was set aside is given
    1 as well, so that both are judged together. The spreads are not estimated again, and benches
    where nothing changed are not solved again.
    """

    weights: FloatArray
    fit: SeasonFit


def fit_season(
    trials: Mapping[str, npt.ArrayLike],
    *,
    spread: Spread | None = None,
    age_weeks: npt.ArrayLike | None = None,
    start: Start | None = None,
) -> SeasonFit:
    """Return the season's builds on one scale.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        A frame with `log_power` (ln of normalised power), `u_own` (standard uncertainty of one
        trial by scatter of its runs and placement), `build_id`, `team_id` (empty for a reference
        rotor), `bench_id`, `session_id`. Optional `u_wind_exponent` and `u_density_exponent`: what
        one standard uncertainty of the exponent moves a trial's ln power by, with its sign; an
        error of an exponent is shared by all trials of a team. [-]
    spread : Spread, optional
        Standard deviations of the terms, used as they are; by default those of sessions and
        residuals are estimated if there are 40 trials at 4 benches.
    age_weeks : array-like, shape (n,), optional
        Age of each trial; a link between benches that is older than eight weeks does not count.
        [weeks]
    start : Start, optional
        An earlier fit to begin at, with its spreads: costs little more than the benches that
        changed, and gives the same within a twentieth of each build's uncertainty if a hundredth of
        the trials are other ones.

    Returns
    -------
    SeasonFit
        Effects, covariance on demand, groups of builds that can be compared.

    Raises
    ------
    TooFewTrials
        Without a trial.
    InvalidInput
        With values that are not finite, or uncertainties not above 0.

    Notes
    -----
    Penalised least squares by a sparse factorisation, reweighted up to eight times with
    w = min(1, 2.5/|z|), z the residual over its uncertainty.

    Examples
    --------
    >>> fit = fit_season({"log_power": [-3.0, -2.8, -3.2, -3.0], "u_own": [0.04] * 4,
    ...     "build_id": ["a", "ref", "b", "ref"], "team_id": ["x", "", "y", ""],
    ...     "bench_id": ["1", "1", "2", "2"], "session_id": ["s", "s", "t", "t"]})
    >>> fit.groups, round(fit.effects["a"] - fit.effects["b"], 1)
    ([['a', 'b', 'ref']], 0.0)
    """
    season = MeasuredSeason(trials)
    model, y, u = season.model, season.y, season.u
    is_estimated = spread is None and has_enough(model)
    confirmed = np.asarray(trials.get("is_confirmed", np.zeros(len(y), dtype=bool)))
    if start is None:
        used, solution, weights = fit_from_nothing(season, spread, is_estimated=is_estimated)
        is_aside = np.zeros(len(y), dtype=bool)
    else:
        used = start.fit.spread
        weights = np.where(confirmed & (start.weights == 0), 1.0, start.weights)
        is_aside = weights == 0
        solution, weights = fit_robustly(season, used, weights, like=start.fit._solution)
    came_back = np.zeros(len(y), dtype=bool)
    for _ in range(ROUNDS_ASIDE):
        scatter = u * used.residual
        off, off_z = predicted_off(solution, weights / scatter**2, scatter)
        alone = np.hypot(scatter, used.session)
        before, is_aside = is_aside, set_aside(off, off_z, alone, model.builds, is_aside)
        # One that came back and is set aside again stays there: it would come and go for ever.
        is_aside = (is_aside | (before & came_back)) & ~confirmed
        came_back |= before & ~is_aside
        moved = int(np.count_nonzero(is_aside != before))
        if not moved:
            break
        if is_estimated and start is None and moved > SCATTER_MOVED_BY * len(y):
            used = estimated_spread(season, np.where(is_aside, 0.0, weights), used)
        counted = np.where(is_aside, 0.0, np.where(before, 1.0, weights))
        like = solution if start else None
        solution, weights = fit_robustly(season, used, counted, rounds=ROUNDS_AGAIN, like=like)
    builds = solution.builds(np.arange(model.builds.size))
    groups, bench_group = connected_builds(model.builds, model.terms["bench"], age_weeks)
    unknown = frozenset(model.builds.labels[contradictory(off, model.builds, is_aside)].tolist())
    return SeasonFit(
        build_ids=[str(each) for each in model.builds.labels],
        log_power=builds.rows @ solution.terms,
        bench_ids=[str(each) for each in model.terms["bench"].labels],
        bench_effect=solution.terms[model.position["bench"]],
        bench_u=np.sqrt(solution.variances(solution.of_terms("bench"))),
        session_ids=[str(each) for each in model.terms["session"].labels],
        session_effect=solution.terms[model.position["session"]],
        groups=_apart(groups, unknown),
        bench_group=bench_group,
        weights=weights,
        predicted_off=off,
        predicted_z=off_z,
        is_aside=is_aside,
        contradictory=unknown,
        spread=used,
        is_estimated=is_estimated,
        _solution=solution,
    )


def _apart(groups: list[list[str]], unknown: frozenset[str]) -> list[list[str]]:
    """Return groups of comparable builds, with each build whose power is unknown by itself.

    >>> _apart([["a", "b", "c"]], frozenset({"b"}))
    [['a', 'c'], ['b']]
    """
    left = [[build for build in group if build not in unknown] for group in groups]
    return [*(group for group in left if group), *([build] for build in sorted(unknown))]

"""Builds of several schools on one scale, as far as reference rotors and visits connect them.

A trial's ln power is the sum of what its team and build can do, what its bench and its sitting
add, what that build does at that bench in particular, and scatter:

    y = μ + t_team + θ_build + s_bench + q_session + g_(build, bench) + e

All terms but μ are drawn towards zero by what is known of their size (best
linear unbiased prediction), and odd trials count less (Huber).

References
----------
.. [1] Robinson, G. K., "That BLUP is a good thing", Statist. Sci. 6 (1991) 15-32. [memory]
.. [2] Huber, P. J., "Robust estimation of a location parameter", Ann. Math. Statist. 35 (1964)
   73-101. [memory]
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from analysis.columns import FloatArray, IntArray
from analysis.errors import InvalidInput, TooFewTrials
from analysis.groups import Groups, group_by

HUBER_FROM = 2.5  # [-], standardised residual from which a trial counts less
ROUNDS = 8  # of reweighting, at most
SETTLED = 1e-3  # [-], change of a weight below which another round moves nothing
LINK_WEEKS = 8.0  # [weeks], a link between benches older than this does not count


@dataclass(frozen=True, slots=True)
class Spread:
    """Prior standard deviations of the terms of ln power; assumed until a region knows better."""

    mean: float = 10.0
    team: float = 0.35
    build: float = 0.35
    bench: float = 0.25
    session: float = 0.06
    interaction: float = 0.05
    reference: float = 3.0


@dataclass(frozen=True)
class SeasonFit:
    """What each build and bench contributes to ln power, and which builds can be compared.

    `log_power` is μ + t + θ of each build: ln of its power at an average bench. `groups` holds
    the builds that benches connect; between groups only the priors speak, so nothing is compared.
    """

    build_ids: list[str]
    log_power: FloatArray
    bench_ids: list[str]
    bench_effect: FloatArray
    bench_u: FloatArray
    groups: list[list[str]]
    weights: FloatArray
    residual_z: FloatArray
    _system: "_System"

    @property
    def effects(self) -> dict[str, float]:
        """Return ln power by build."""
        return dict(zip(self.build_ids, self.log_power.tolist(), strict=True))

    @cached_property
    def covariance(self) -> FloatArray:
        """Return the covariance of ln power of all builds, in the order of `build_ids`."""
        return self.covariance_of(self.build_ids)

    def covariance_of(self, build_ids: Sequence[str]) -> FloatArray:
        """Return the covariance of ln power of some builds, in their order."""
        position = {build_id: i for i, build_id in enumerate(self.build_ids)}
        rows = self._system.build_rows([position[build_id] for build_id in build_ids])
        return self._system.covariance(rows)

    def u_difference(self, one: str, other: str) -> float:
        """Return the standard uncertainty of the difference of ln power of two builds."""
        c = self.covariance_of([one, other])
        return math.sqrt(max(0.0, float(c[0, 0] + c[1, 1] - 2 * c[0, 1])))


class _System:
    """The penalised normal equations, factorised; rows of the design are sparse."""

    def __init__(self, design: Any, prior_precision: FloatArray, layout: "_Layout") -> None:
        self.design, self.prior, self.layout = design, prior_precision, layout
        self.solver: Any = None

    def solve(self, y: FloatArray, weight: FloatArray) -> FloatArray:
        """Return the terms that fit y with these weights."""
        from scipy.sparse import diags_array
        from scipy.sparse.linalg import splu

        weighted = self.design.T @ diags_array(weight)
        matrix = (weighted @ self.design + diags_array(self.prior)).tocsc()
        self.solver = splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        terms: FloatArray = self.solver.solve(weighted @ y)
        return terms

    def build_rows(self, positions: Sequence[int]) -> Any:
        """Return the sparse rows that add up to μ + t + θ of some builds."""
        from scipy.sparse import csc_array

        layout, count = self.layout, len(positions)
        chosen = np.asarray(positions, dtype=np.int64)
        teams = layout.team_of_build[chosen]
        in_team = teams >= 0
        row = np.arange(count)
        rows = np.concatenate([row, row, row[in_team]])
        columns = np.concatenate(
            [
                np.zeros(count, dtype=np.int64),
                layout.start["build"] + chosen,
                layout.start["team"] + teams[in_team],
            ]
        )
        return csc_array((np.ones(len(rows)), (rows, columns)), shape=(count, layout.size))

    def covariance(self, rows: Any) -> FloatArray:
        """Return the posterior covariance of some sums of terms."""
        solved = self.solver.solve(rows.T.toarray())
        covariance: FloatArray = rows @ solved
        return (covariance + covariance.T) / 2

    def variances(self, positions: IntArray) -> FloatArray:
        """Return the posterior variance of some single terms."""
        unit = np.zeros((self.layout.size, len(positions)))
        unit[positions, np.arange(len(positions))] = 1.0
        solved = self.solver.solve(unit)
        return np.asarray(solved[positions, np.arange(len(positions))], dtype=np.float64)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Where each kind of term begins among the unknowns, and each build's team (-1: none)."""

    start: dict[str, int]
    size: int
    team_of_build: IntArray


def fit_season(
    trials: Mapping[str, npt.ArrayLike],
    *,
    spread: Spread | None = None,
    age_weeks: npt.ArrayLike | None = None,
) -> SeasonFit:
    """Return the season's builds on one scale.

    Parameters
    ----------
    trials : mapping of str to array, shape (n,)
        A frame with `log_power` (ln of normalised power), `u_own` (standard uncertainty of one
        trial by scatter of its runs and placement), `build_id`, `team_id` (empty for a reference
        rotor), `bench_id`, `session_id`.
    spread : Spread, optional
        Prior standard deviations.
    age_weeks : array-like, shape (n,), optional
        How old each trial is; a link older than eight weeks joins nothing. [weeks]

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
    w = min(1, 2.5/|z|), z the residual over `u_own`.

    Examples
    --------
    >>> fit = fit_season({"log_power": [-3.0, -2.8, -3.2, -3.0], "u_own": [0.04] * 4,
    ...     "build_id": ["a", "ref", "b", "ref"], "team_id": ["x", "", "y", ""],
    ...     "bench_id": ["1", "1", "2", "2"], "session_id": ["s", "s", "t", "t"]})
    >>> fit.groups, round(fit.effects["a"] - fit.effects["b"], 1)
    ([['a', 'b', 'ref']], 0.0)
    """
    y, u = _checked(trials)
    spread = spread or Spread()
    terms = {name: group_by(np.asarray(trials[f"{name}_id"])) for name in
             ("team", "build", "bench", "session")}  # fmt: skip
    pairs = group_by(terms["build"].codes * terms["bench"].size + terms["bench"].codes)
    is_reference = np.asarray(trials["team_id"]) == ""
    layout = _layout(terms, pairs, is_reference)
    system = _System(
        _design(terms, pairs, is_reference, layout),
        _precision(terms, pairs, is_reference, layout, spread),
        layout,
    )
    weights = np.ones_like(y)
    for _ in range(ROUNDS):
        solution = system.solve(y, weights / u**2)
        z = (y - system.design @ solution) / u
        before, weights = weights, np.minimum(1.0, HUBER_FROM / np.maximum(np.abs(z), 1e-12))
        if np.max(np.abs(weights - before)) < SETTLED:
            break
    rows = system.build_rows(range(terms["build"].size))
    benches = layout.start["bench"] + np.arange(terms["bench"].size)
    return SeasonFit(
        build_ids=[str(each) for each in terms["build"].labels],
        log_power=rows @ solution,
        bench_ids=[str(each) for each in terms["bench"].labels],
        bench_effect=solution[benches],
        bench_u=np.sqrt(system.variances(benches)),
        groups=_connected(terms["build"], terms["bench"], age_weeks),
        weights=weights,
        residual_z=z,
        _system=system,
    )


def _checked(trials: Mapping[str, npt.ArrayLike]) -> tuple[FloatArray, FloatArray]:
    y = np.asarray(trials["log_power"], dtype=np.float64)
    u = np.asarray(trials["u_own"], dtype=np.float64)
    if y.size == 0:
        raise TooFewTrials("a comparison needs a trial")
    if not (np.all(np.isfinite(y)) and np.all(np.isfinite(u)) and np.all(u > 0)):
        raise InvalidInput("a comparison needs finite ln powers, and uncertainties above 0")
    return y, u


def _layout(
    terms: dict[str, Groups], pairs: Groups, is_reference: npt.NDArray[np.bool_]
) -> _Layout:
    sizes = {"mean": 1} | {name: each.size for name, each in terms.items()} | {"pair": pairs.size}
    start, size = {}, 0
    for name, count in sizes.items():
        start[name], size = size, size + count
    team_of_build = np.full(terms["build"].size, -1, dtype=np.int64)
    own = ~is_reference
    team_of_build[terms["build"].codes[own]] = terms["team"].codes[own]
    return _Layout(start, size, team_of_build)


def _design(
    terms: dict[str, Groups], pairs: Groups, is_reference: npt.NDArray[np.bool_], layout: _Layout
) -> Any:
    """Return the sparse design: a one for each term of each trial; a reference has no team."""
    from scipy.sparse import csr_array

    n = len(is_reference)
    row = np.arange(n)
    own = ~is_reference
    columns = [np.zeros(n, dtype=np.int64), layout.start["team"] + terms["team"].codes[own]]
    columns += [layout.start[name] + terms[name].codes for name in ("build", "bench", "session")]
    columns.append(layout.start["pair"] + pairs.codes)
    rows = np.concatenate([row, row[own], row, row, row, row])
    column = np.concatenate(columns)
    return csr_array((np.ones(len(rows)), (rows, column)), shape=(n, layout.size))


def _precision(
    terms: dict[str, Groups],
    pairs: Groups,
    is_reference: npt.NDArray[np.bool_],
    layout: _Layout,
    spread: Spread,
) -> FloatArray:
    """Return one over the prior variance of each term; a reference rotor's is all but free."""
    build = np.full(terms["build"].size, spread.build)
    build[np.unique(terms["build"].codes[is_reference])] = spread.reference
    deviations = [
        np.array([spread.mean]),
        np.full(terms["team"].size, spread.team),
        build,
        np.full(terms["bench"].size, spread.bench),
        np.full(terms["session"].size, spread.session),
        np.full(pairs.size, spread.interaction),
    ]
    return np.concatenate(deviations) ** -2.0


def _connected(builds: Groups, benches: Groups, age_weeks: npt.ArrayLike | None) -> list[list[str]]:
    """Return the builds that trials at benches join, the largest group first."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    joined = np.ones(len(builds.codes), dtype=bool)
    if age_weeks is not None:
        joined = np.asarray(age_weeks, dtype=np.float64) <= LINK_WEEKS
    size = builds.size + benches.size
    edges = (builds.codes[joined], builds.size + benches.codes[joined])
    graph = coo_array((np.ones(int(joined.sum())), edges), shape=(size, size))
    _, component = connected_components(graph, directed=False)
    members: dict[int, list[str]] = {}
    for label, group in zip(builds.labels, component[: builds.size], strict=True):
        members.setdefault(int(group), []).append(str(label))
    return sorted(members.values(), key=lambda group: (-len(group), group))

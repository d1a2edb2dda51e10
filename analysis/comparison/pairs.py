"""Compare builds in pairs by a fit of the season: who is ahead, and how sure that is."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.comparison.fit import SeasonFit
from analysis.numeric.distributions import normal_cdf, normal_quantile
from analysis.uncertainty import COVERAGE_FACTOR, interval, percent, region_uncertainty

COMPARABLE_UP_TO = 0.15  # [-], uncertainty of a difference of ln power
ROUGH_UP_TO = 0.25  # [-], same
AHEAD_FROM = 0.95  # [-], probability
PROBABLY_FROM = 0.80  # [-], same
NEAR = 20  # builds after each that a range of places looks at
#: [-], of the bench where a reference rotor's power is assigned: a hand vane over a five-point
#: grid, 2.6 √(0.046² + 0.03² + 0.01²), and the electrical part, which is small next to it.
U_ASSIGNING_BENCH = 0.146

FloatArray = npt.NDArray[np.float64]
Comparable = Literal["yes", "rough", "not_yet"]
Statement = Literal[
    "a_ahead", "a_probably_ahead", "too_close", "b_probably_ahead", "b_ahead", "not_yet"
]


@dataclass(frozen=True, slots=True)
class Pair:
    """Comparison of two builds."""

    a: str
    b: str
    comparable: Comparable
    probability_a_ahead: float | None
    statement: Statement
    u_difference: float | None
    interval_pct: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class FairPower:
    """A build's power corrected for bench bias, by a reference rotor with assigned power.

    `u_total` is the uncertainty of comparisons with other builds. `u_region` is the rotor's own and
    is the same for all builds: it matters for power in watts and cancels in every comparison.
    """

    power_w: float
    u_total: float
    u_region: float
    interval_w: tuple[float, float]


def compare_pair(fit: SeasonFit, a: str, b: str) -> Pair:
    """Return the comparison of two builds.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    a, b : str
        Two builds of the fit.

    Returns
    -------
    Pair
        Whether they are comparable, and the probability that `a` is ahead.

    Notes
    -----
    Builds in different groups are never compared, however small the fit's own uncertainty: without
    a link only the priors separate school and fan.

    Examples
    --------
    >>> from analysis.comparison.fit import fit_season
    >>> fit = fit_season({"log_power": [-3.0, -2.0], "u_own": [0.04] * 2, "build_id": ["a", "b"],
    ...     "team_id": ["x", "y"], "bench_id": ["1", "2"], "session_id": ["s", "t"]})
    >>> compare_pair(fit, "a", "b").statement
    'not_yet'
    """
    return compare_all(fit, [a, b])[0]


def compare_all(fit: SeasonFit, builds: Sequence[str]) -> list[Pair]:
    """Return the comparison of every pair of the given builds.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    builds : sequence of str
        Builds of the fit.

    Returns
    -------
    list of Pair
        All pairs, in the order of the builds; the covariance is calculated once for all of them.
    """
    covariance = fit.covariance_of(builds)
    own = np.diag(covariance)
    u = np.sqrt(np.maximum(own[:, None] + own - 2 * covariance, 0.0)).tolist()
    return [_pair(fit, a, b, u[i][j]) for (i, a), (j, b) in combinations(enumerate(builds), 2)]


def compare_each(fit: SeasonFit, pairs: Sequence[tuple[str, str]]) -> list[Pair]:
    """Return the comparison of the given pairs of builds.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    pairs : sequence of (str, str)
        Pairs of builds of the fit; the cost grows with their number, not with that of builds.

    Returns
    -------
    list of Pair
        In the order of the pairs.
    """
    if not pairs:
        return []
    uncertainties = fit.u_of_pairs(pairs).tolist()
    return [_pair(fit, a, b, u) for (a, b), u in zip(pairs, uncertainties, strict=True)]


def place_ranges(
    fit: SeasonFit, groups: Sequence[Sequence[str]], builds: Collection[str] | None = None
) -> dict[str, tuple[int, int]]:
    """Return the best and the worst place that each build may truly have in its group.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    groups : sequence of sequence of str
        Builds of each group, the strongest first.
    builds : collection of str, optional
        Builds of these groups that the places are wanted of; all if not given.

    Returns
    -------
    dict of str to (int, int)
        By build: 1 and the number of builds that are surely ahead (95 %), and the same from
        behind. Only the twenty next ones are compared; those further away count as sure.

    Notes
    -----
    The pairs of all groups are compared together, which takes little longer than those of one.

    Examples
    --------
    >>> from analysis.comparison.fit import fit_season
    >>> fit = fit_season({"log_power": [-2.0, -2.02, -3.0] * 4, "u_own": [0.04] * 12,
    ...     "build_id": ["a", "b", "c"] * 4, "team_id": ["x", "y", "z"] * 4,
    ...     "bench_id": ["1"] * 12, "session_id": ["s"] * 12})
    >>> place_ranges(fit, [["a", "b", "c"]])
    {'a': (1, 2), 'b': (1, 2), 'c': (3, 3)}
    """
    places = {build: place for group in groups for place, build in enumerate(group, start=1)}
    wanted = places.keys() if builds is None else builds
    near = [
        (one, other)
        for group in groups
        for at, one in enumerate(group)
        for other in group[at + 1 : at + 1 + NEAR]
        if one in wanted or other in wanted
    ]
    best, worst = dict(places), dict(places)
    for (one, other), is_ahead in zip(near, _are_surely_ahead(fit, near).tolist(), strict=True):
        if not is_ahead:
            worst[one] += 1
            best[other] -= 1
    return {build: (best[build], worst[build]) for build in places if build in wanted}


def is_any_comparable(fit: SeasonFit, pairs: Sequence[tuple[str, str]]) -> bool:
    """Tell whether any of the given pairs of builds can be compared, at least roughly.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    pairs : sequence of (str, str)
        Pairs of builds of the fit.

    Returns
    -------
    bool
        The same as a comparison of each pair would tell, in a fraction of its time.
    """
    return bool(np.any(_are_comparable(fit, pairs, _u_of(fit, pairs))))


def _u_of(fit: SeasonFit, pairs: Sequence[tuple[str, str]]) -> FloatArray:
    return fit.u_of_pairs(pairs) if pairs else np.empty(0)


def _are_comparable(
    fit: SeasonFit, pairs: Sequence[tuple[str, str]], u: FloatArray
) -> npt.NDArray[np.bool_]:
    group = fit.group_of
    is_joined = np.array([group[a] == group[b] for a, b in pairs], dtype=bool)
    return is_joined & (u <= ROUGH_UP_TO)


def _are_surely_ahead(fit: SeasonFit, pairs: Sequence[tuple[str, str]]) -> npt.NDArray[np.bool_]:
    """Tell of each pair whether its first build is ahead of the other one with 95 %."""
    u = _u_of(fit, pairs)
    difference = np.array([fit.effects[a] - fit.effects[b] for a, b in pairs])
    is_ahead = (u > 0) & (difference >= normal_quantile(AHEAD_FROM) * u)
    return _are_comparable(fit, pairs, u) & is_ahead


def _pair(fit: SeasonFit, a: str, b: str, u: float) -> Pair:
    if fit.group_of[a] != fit.group_of[b]:
        return Pair(a, b, "not_yet", None, "not_yet", None, None)
    return _compare(a, b, fit.effects[a] - fit.effects[b], u)


def _compare(a: str, b: str, difference: float, u: float) -> Pair:
    """Return the comparison of two builds of one group."""
    comparable = _comparable(u)
    if comparable == "not_yet":
        return Pair(a, b, "not_yet", None, "not_yet", u, None)
    probability = normal_cdf(difference / u) if u > 0 else 0.5
    reach = COVERAGE_FACTOR * u
    interval_pct = percent(difference - reach), percent(difference + reach)
    return Pair(a, b, comparable, probability, _statement(probability), u, interval_pct)


def _comparable(u: float) -> Comparable:
    return "yes" if u <= COMPARABLE_UP_TO else "rough" if u <= ROUGH_UP_TO else "not_yet"


def _statement(probability: float) -> Statement:
    if probability >= AHEAD_FROM:
        return "a_ahead"
    if probability >= PROBABLY_FROM:
        return "a_probably_ahead"
    if probability > 1 - PROBABLY_FROM:
        return "too_close"
    return "b_probably_ahead" if probability > 1 - AHEAD_FROM else "b_ahead"


def fair_powers(fit: SeasonFit, assigned_power_w: Mapping[str, float]) -> dict[str, FairPower]:
    """Return the powers of builds on the scale of their group's reference rotor.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    assigned_power_w : mapping of str to float
        Assigned power of reference rotors, by build. [W]

    Returns
    -------
    dict of str to FairPower
        By build, only for groups with a reference rotor that has an assigned power.

    Examples
    --------
    >>> from analysis.comparison.fit import fit_season
    >>> fit = fit_season({"log_power": [-3.0, -3.0] * 4, "u_own": [0.04] * 8,
    ...     "build_id": ["a", "ref"] * 4, "team_id": ["x", ""] * 4, "bench_id": ["1"] * 8,
    ...     "session_id": ["s", "s", "t", "t"] * 2})
    >>> round(fair_powers(fit, {"ref": 0.06})["a"].power_w, 3)
    0.06
    """
    fair: dict[str, FairPower] = {}
    for group in fit.groups:
        anchor = anchor_of(group, assigned_power_w)
        if anchor is not None:
            u = fit.u_differences(anchor)
            fair |= {
                build: _fair_power(
                    assigned_power_w[anchor],
                    fit.effects[build] - fit.effects[anchor],
                    u[build],
                )
                for build in group
            }
    return fair


def anchor_of(group: Sequence[str], assigned_power_w: Mapping[str, float]) -> str | None:
    """Return the reference rotor whose assigned power a group's watts are based on.

    Parameters
    ----------
    group : sequence of str
        Builds that can be compared.
    assigned_power_w : mapping of str to float
        Assigned power of reference rotors, by build. [W]

    Returns
    -------
    str or None
        The first of the group that has one.

    Examples
    --------
    >>> anchor_of(["a", "rotor"], {"rotor": 0.06})
    'rotor'
    """
    return next((each for each in group if each in assigned_power_w), None)


def _fair_power(assigned_power_w: float, difference: float, u: float) -> FairPower:
    power = assigned_power_w * math.exp(difference)
    return FairPower(power, u, region_uncertainty(U_ASSIGNING_BENCH), interval(power, u))

"""What a fit of the season allows to be said: pairs, scores of benches, and the missing link."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np

from analysis.comparison.fit import SeasonFit
from analysis.numeric.distributions import normal_cdf
from analysis.robust import algorithm_a, e_n_score, z_score, zeta_score
from analysis.uncertainty import COVERAGE_FACTOR, interval, percent, region_uncertainty

COMPARABLE_UP_TO = 0.15  # [-], uncertainty of a difference of ln power
ROUGH_UP_TO = 0.25  # [-], same
AHEAD_FROM = 0.95  # [-], probability
PROBABLY_FROM = 0.80  # [-], same
SIGMA_PT = 0.10  # [-], fit for purpose, of ln power of the reference rotor
LOOK_FROM, ACT_FROM = 2.0, 3.0  # [-], size of z, ISO 13528
LEAST_FOR_CONSENSUS = 3  # benches
#: [-], of the bench where a reference rotor's power is assigned: a hand vane over a five-point
#: grid, 2.6 √(0.046² + 0.03² + 0.01²), and the electrical part, which is small beside it.
U_ASSIGNING_BENCH = 0.146

Comparable = Literal["yes", "rough", "not_yet"]
Statement = Literal[
    "a_ahead", "a_probably_ahead", "too_close", "b_probably_ahead", "b_ahead", "not_yet"
]
Verdict = Literal["fine", "look", "act"]


@dataclass(frozen=True, slots=True)
class Pair:
    """How two builds stand to each other."""

    a: str
    b: str
    comparable: Comparable
    probability_a_ahead: float | None
    statement: Statement
    u_difference: float | None
    interval_pct: tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class FairPower:
    """A build's power freed of its bench, by a reference rotor of known power in its group.

    `u_total` tells how surely it compares with others; `u_region` is shared by all of them, since
    it is the rotor's own: it matters for watts as such and drops out of every comparison.
    """

    power_w: float
    u_total: float
    u_region: float
    interval_w: tuple[float, float]


@dataclass(frozen=True, slots=True)
class BenchScore:
    """How far a bench reads off, in ln power; it grades the bench and nobody's work.

    `z` is in units of what is fit for the purpose, `zeta` and `e_n` in units of the bench's own
    doubt. `against` is what it is held against: the season model's mean, or where no reference
    rotor has an assigned power the robust consensus of all benches.
    """

    bench_id: str
    effect: float
    u: float
    z: float
    zeta: float
    e_n: float
    verdict: Verdict
    against: Literal["season_model", "consensus"]


@dataclass(frozen=True, slots=True)
class MissingLink:
    """Two groups of builds, and the bench where one session would join them."""

    joins: tuple[str, ...]
    bench_id: str
    needs: Literal["reference", "visit"]


def stand(fit: SeasonFit, a: str, b: str) -> Pair:
    """Return what may be said of two builds.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    a, b : str
        Two builds of it.

    Returns
    -------
    Pair
        Comparable or not, and the probability that `a` is ahead.

    Notes
    -----
    Builds in different groups are never compared, however small the fit's own uncertainty: without
    a link only the priors tell school and fan apart.

    Examples
    --------
    >>> from analysis.comparison.fit import fit_season
    >>> fit = fit_season({"log_power": [-3.0, -2.0], "u_own": [0.04] * 2, "build_id": ["a", "b"],
    ...     "team_id": ["x", "y"], "bench_id": ["1", "2"], "session_id": ["s", "t"]})
    >>> stand(fit, "a", "b").statement
    'not_yet'
    """
    return stand_all(fit, [a, b])[0]


def stand_all(fit: SeasonFit, builds: Sequence[str]) -> list[Pair]:
    """Return what may be said of each two of some builds.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    builds : sequence of str
        Builds of it.

    Returns
    -------
    list of Pair
        Of every two, in their order; the covariance is worked out once for all of them.
    """
    covariance = fit.covariance_of(builds)
    own = np.diag(covariance)
    u = np.sqrt(np.maximum(own[:, None] + own - 2 * covariance, 0.0)).tolist()
    return [_pair(fit, a, b, u[i][j]) for (i, a), (j, b) in combinations(enumerate(builds), 2)]


def stand_each(fit: SeasonFit, pairs: Sequence[tuple[str, str]]) -> list[Pair]:
    """Return what may be said of some pairs of builds.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    pairs : sequence of (str, str)
        Pairs of its builds; the cost grows with their number and not with that of builds.

    Returns
    -------
    list of Pair
        In their order.
    """
    if not pairs:
        return []
    doubts = fit.u_of_pairs(pairs).tolist()
    return [_pair(fit, a, b, u) for (a, b), u in zip(pairs, doubts, strict=True)]


def _pair(fit: SeasonFit, a: str, b: str, u: float) -> Pair:
    if fit.group_of[a] != fit.group_of[b]:
        return Pair(a, b, "not_yet", None, "not_yet", None, None)
    return _stand(a, b, fit.effects[a] - fit.effects[b], u)


def _stand(a: str, b: str, difference: float, u: float) -> Pair:
    """Return what may be said of two builds that something joins."""
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
        By build; without those in whose group no reference rotor has an assigned power.

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
        anchor = next((each for each in group if each in assigned_power_w), None)
        if anchor is not None:
            u = fit.u_differences(anchor)
            fair |= {
                build: _fair_power(
                    assigned_power_w[anchor], fit.effects[build] - fit.effects[anchor], u[build]
                )
                for build in group
            }
    return fair


def _fair_power(assigned_power_w: float, difference: float, u: float) -> FairPower:
    power = assigned_power_w * math.exp(difference)
    return FairPower(power, u, region_uncertainty(U_ASSIGNING_BENCH), interval(power, u))


def score_benches(fit: SeasonFit, *, is_anchored: bool = True) -> list[BenchScore]:
    """Return how far each bench reads off.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    is_anchored : bool, optional
        Whether a reference rotor has an assigned power; without one the benches are held against
        their robust consensus (three at least).

    Returns
    -------
    list of BenchScore
        In the order of the fit's benches.

    References
    ----------
    .. [1] ISO 13528:2022: z with a spread fit for the purpose, ζ, E_n, and Algorithm A for a
       consensus. Clauses [memory].
    """
    by_consensus = not is_anchored and len(fit.bench_ids) >= LEAST_FOR_CONSENSUS
    centre = algorithm_a(fit.bench_effect).location if by_consensus else 0.0
    return [
        _bench_score(bench_id, float(effect), float(u), centre, by_consensus=by_consensus)
        for bench_id, effect, u in zip(fit.bench_ids, fit.bench_effect, fit.bench_u, strict=True)
    ]


def _bench_score(
    bench_id: str, effect: float, u: float, centre: float, *, by_consensus: bool
) -> BenchScore:
    z = z_score(effect, centre, SIGMA_PT)
    verdict: Verdict = "fine" if abs(z) <= LOOK_FROM else "look" if abs(z) < ACT_FROM else "act"
    return BenchScore(
        bench_id=bench_id,
        effect=effect - centre,
        u=u,
        z=z,
        zeta=zeta_score(effect, centre, u, 0.0),
        e_n=e_n_score(effect, centre, COVERAGE_FACTOR * u, 0.0),
        verdict=verdict,
        against="consensus" if by_consensus else "season_model",
    )


def missing_links(
    fit: SeasonFit,
    benches_of: Mapping[str, Sequence[str]],
    references: Sequence[str],
    current: Sequence[str] | None = None,
) -> list[MissingLink]:
    """Return the fewest sessions that would join all builds, the one that joins most first.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    benches_of : mapping of str to sequence of str
        Benches at which each build was tested.
    references : sequence of str
        Builds of reference rotors.
    current : sequence of str, optional
        Builds worth joining; left out, all but the reference rotors'.

    Returns
    -------
    list of MissingLink
        One per bench, for all builds there that are apart from the reference rotor's group, or
        without such a rotor from the largest one.
    """
    with_reference = [group for group in fit.groups if set(group) & set(references)]
    centre = with_reference[0] if with_reference else fit.groups[0]
    needs: Literal["reference", "visit"] = "reference" if with_reference else "visit"
    wanted = set(fit.build_ids if current is None else current) - set(references)
    at_bench: dict[str, list[str]] = {}
    for group in fit.groups:
        apart = [build for build in group if build in wanted and group is not centre]
        if apart:
            at_bench.setdefault(benches_of[apart[0]][-1], []).extend(apart)
    links = [MissingLink(tuple(joins), bench, needs) for bench, joins in at_bench.items()]
    return sorted(links, key=lambda link: -len(link.joins))

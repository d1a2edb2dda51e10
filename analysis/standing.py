"""What a fit of the season allows to be said: pairs, scores of benches, and the missing link."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.comparison import SeasonFit
from analysis.distributions import normal_cdf
from analysis.robust import z_score

COMPARABLE_UP_TO = 0.15  # [-], uncertainty of a difference of ln power
ROUGH_UP_TO = 0.25  # [-], same
AHEAD_FROM = 0.95  # [-], probability
PROBABLY_FROM = 0.80  # [-], same
SIGMA_PT = 0.10  # [-], fit for purpose, of ln power of the reference rotor
LOOK_FROM, ACT_FROM = 2.0, 3.0  # [-], size of z, ISO 13528

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


@dataclass(frozen=True, slots=True)
class BenchScore:
    """How far a bench reads off, in ln power; it grades the bench and nobody's work."""

    bench_id: str
    effect: float
    u: float
    z: float
    verdict: Verdict


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
    >>> from analysis.comparison import fit_season
    >>> fit = fit_season({"log_power": [-3.0, -2.0], "u_own": [0.04] * 2, "build_id": ["a", "b"],
    ...     "team_id": ["x", "y"], "bench_id": ["1", "2"], "session_id": ["s", "t"]})
    >>> stand(fit, "a", "b").statement
    'not_yet'
    """
    if not any(a in group and b in group for group in fit.groups):
        return Pair(a, b, "not_yet", None, "not_yet", None)
    u = fit.u_difference(a, b)
    probability = normal_cdf((fit.effects[a] - fit.effects[b]) / u) if u > 0 else 0.5
    comparable = _comparable(u)
    if comparable == "not_yet":
        return Pair(a, b, "not_yet", None, "not_yet", u)
    return Pair(a, b, comparable, probability, _statement(probability), u)


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


def score_benches(fit: SeasonFit) -> list[BenchScore]:
    """Return how far each bench reads off the mean of all.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.

    Returns
    -------
    list of BenchScore
        In the order of the fit's benches.

    References
    ----------
    .. [1] ISO 13528:2022, z score with a spread fit for the purpose. Clause [memory].
    """
    scores = []
    for bench_id, effect, u in zip(fit.bench_ids, fit.bench_effect, fit.bench_u, strict=True):
        z = z_score(float(effect), 0.0, SIGMA_PT)
        verdict: Verdict = "fine" if abs(z) <= LOOK_FROM else "look" if abs(z) < ACT_FROM else "act"
        scores.append(BenchScore(bench_id, float(effect), float(u), z, verdict))
    return scores


def percent(ln_effect: float) -> float:
    """Return a difference of ln power as percent of power.

    Parameters
    ----------
    ln_effect : float
        Difference of natural logarithms. [-]

    Returns
    -------
    float
        Percent. [%]

    Examples
    --------
    >>> round(percent(0.10), 1)
    10.5
    """
    return 100 * math.expm1(ln_effect)


def missing_links(
    fit: SeasonFit, benches_of: Mapping[str, Sequence[str]], references: Sequence[str]
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

    Returns
    -------
    list of MissingLink
        One per group that is apart from the largest one, or from the reference rotor's.
    """
    with_reference = [group for group in fit.groups if set(group) & set(references)]
    centre = with_reference[0] if with_reference else fit.groups[0]
    needs: Literal["reference", "visit"] = "reference" if with_reference else "visit"
    apart = [group for group in fit.groups if group is not centre]
    return [
        MissingLink(tuple(group), benches_of[group[0]][-1], needs)
        for group in sorted(apart, key=len, reverse=True)
        if not set(group) <= set(references)
    ]

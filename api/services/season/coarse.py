"""Round figures that depend on hidden trials to the resolution of their uncertainty."""

from dataclasses import replace

from analysis.comparison.bench_scores import BenchScore
from analysis.comparison.pairs import FairPower, Pair
from analysis.numeric.resolution import at_resolution, two_digits


def coarse_power(fair: FairPower) -> FairPower:
    """Round a power and its interval to a tenth of its uncertainty, and that to two digits."""
    u_w = fair.power_w * fair.u_total
    low, high = fair.interval_w
    return FairPower(
        at_resolution(fair.power_w, u_w),
        two_digits(fair.u_total),
        two_digits(fair.u_region),
        (at_resolution(low, u_w), at_resolution(high, u_w)),
    )


def coarse_score(score: BenchScore) -> BenchScore:
    """Round a bench's effect to a tenth of its uncertainty, and the scores to one decimal."""
    assigned = score.assigned
    return replace(
        score,
        effect=at_resolution(score.effect, score.u),
        u=two_digits(score.u),
        z=round(score.z, 1),
        zeta=round(score.zeta, 1),
        e_n=round(score.e_n, 1),
        assigned=assigned
        and replace(
            assigned,
            effect=at_resolution(assigned.effect, score.u),
            z_prime=round(assigned.z_prime, 1),
            zeta=round(assigned.zeta, 1),
            e_n=round(assigned.e_n, 1),
        ),
    )


def coarse_pair(pair: Pair) -> Pair:
    """Round a comparison of two builds to integer per cents, and its uncertainty to two digits."""
    chance, u, interval = pair.probability_a_ahead, pair.u_difference, pair.interval_pct
    return replace(
        pair,
        probability_a_ahead=None if chance is None else round(chance, 2),
        u_difference=None if u is None else two_digits(u),
        interval_pct=interval and (round(interval[0]), round(interval[1])),
    )

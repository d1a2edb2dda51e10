"""Score each bench by a fit of the season, and find the sessions that would join the groups."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from analysis.comparison.fit import SeasonFit
from analysis.robust import algorithm_a, e_n_score, z_score, zeta_score
from analysis.uncertainty import COVERAGE_FACTOR

SIGMA_PT = 0.10  # [-], fit for purpose, of ln power of the reference rotor
LOOK_FROM, ACT_FROM = 2.0, 3.0  # [-], size of z, ISO 13528
LEAST_FOR_CONSENSUS = 3  # benches

Verdict = Literal["fine", "look", "act"]


@dataclass(frozen=True, slots=True)
class BenchScore:
    """The bias of a bench, in ln power; it rates the bench, not the team.

    `z` is in units of the spread that is fit for the purpose, `zeta` and `e_n` in units of the
    bench's own uncertainty. `against` names the reference value: the mean of the season model, or
    without a reference rotor of assigned power the robust consensus of all benches.
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


def score_benches(fit: SeasonFit, *, is_anchored: bool = True) -> list[BenchScore]:
    """Return the bias of each bench with its scores.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    is_anchored : bool, optional
        Whether a reference rotor has an assigned power; without one the benches are compared with
        their robust consensus (if there are at least three).

    Returns
    -------
    list of BenchScore
        In the order of the fit's benches.

    References
    ----------
    .. [1] ISO 13528:2022: z with a spread fit for the purpose, ζ, E_n, and Algorithm A for a
       consensus, read where `analysis.robust` says. Clauses not checked.
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
        Builds worth joining; by default all but the reference rotors'.

    Returns
    -------
    list of MissingLink
        One per bench, for all builds there that are not in the reference rotor's group, or without
        such a rotor not in the largest group.
    """
    with_reference = [group for group in fit.groups if set(group) & set(references)]
    centre = with_reference[0] if with_reference else fit.groups[0]
    needs: Literal["reference", "visit"] = "reference" if with_reference else "visit"
    wanted = set(fit.build_ids if current is None else current) - set(references)
    at_bench: dict[str, list[str]] = {}
    for group in fit.groups:
        unjoined = [build for build in group if build in wanted and group is not centre]
        if unjoined:
            at_bench.setdefault(benches_of[unjoined[0]][-1], []).extend(unjoined)
    links = [MissingLink(tuple(joins), bench, needs) for bench, joins in at_bench.items()]
    return sorted(links, key=lambda link: -len(link.joins))

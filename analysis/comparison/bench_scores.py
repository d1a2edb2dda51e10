"""Score each bench by a fit of the season, and find the sessions that would join the groups."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from analysis.comparison.fit import SeasonFit
from analysis.comparison.pairs import U_ASSIGNING_BENCH, anchor_of
from analysis.robust import algorithm_a, e_n_score, z_score, zeta_score
from analysis.uncertainty import COVERAGE_FACTOR

SIGMA_PT = 0.10  # [-], fit for purpose, of ln power of the reference rotor
LOOK_FROM, ACT_FROM = 2.0, 3.0  # [-], size of z, ISO 13528
LEAST_FOR_CONSENSUS = 3  # benches

Verdict = Literal["fine", "look", "act"]
GRAVER: tuple[Verdict, ...] = ("fine", "look", "act")


@dataclass(frozen=True, slots=True)
class AssignedScore:
    """How far a bench reads the reference rotor off its assigned power, in ln power.

    `z_prime` is in units of the spread that is fit for the purpose joined with the uncertainty of
    the assigned power; `zeta` in units of both standard uncertainties, `e_n` of both expanded ones.
    """

    effect: float
    z_prime: float
    zeta: float
    e_n: float
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class BenchScore:
    """The bias of a bench, in ln power; it rates the bench, not the team.

    `z` is in units of the spread that is fit for the purpose, `zeta` and `e_n` in units of the
    bench's own uncertainty. `against` names the reference value: the robust consensus of all
    benches, or the mean of the season model if there are only one or two. `assigned` is the score
    against the reference rotor's assigned power, if there is one, and `verdict` the graver of both:
    an uncertain assigned power must not hide a bench that differs from the others.
    """

    bench_id: str
    effect: float
    u: float
    z: float
    zeta: float
    e_n: float
    verdict: Verdict
    against: Literal["season_model", "consensus"]
    assigned: AssignedScore | None = None


@dataclass(frozen=True, slots=True)
class MissingLink:
    """Two groups of builds, and the bench where one session would join them."""

    joins: tuple[str, ...]
    bench_id: str
    needs: Literal["reference", "visit"]


def score_benches(
    fit: SeasonFit, assigned_power_w: Mapping[str, float] | None = None
) -> list[BenchScore]:
    """Return how far each bench reads off.

    Parameters
    ----------
    fit : SeasonFit
        The season's fit.
    assigned_power_w : mapping of str to float, optional
        Assigned power of reference rotors, by build. [W]

    Returns
    -------
    list of BenchScore
        In the order of the fit's benches.

    Notes
    -----
    An assigned power is as uncertain as the bench that it was assigned at: 14.6 %.

    References
    ----------
    .. [1] ISO 13528:2022: z with a spread fit for the purpose, z′, ζ, E_n, and Algorithm A for a
       consensus, read where `analysis.robust` names. Clauses not checked.
    """
    by_consensus = len(fit.bench_ids) >= LEAST_FOR_CONSENSUS
    centre = algorithm_a(fit.bench_effect).location if by_consensus else 0.0
    uncertainties = fit.bench_u_from_mean() if by_consensus else fit.bench_u
    among = [
        _among_benches(bench_id, float(effect), float(u), centre, by_consensus=by_consensus)
        for bench_id, effect, u in zip(fit.bench_ids, fit.bench_effect, uncertainties, strict=True)
    ]
    off = _off_assigned(fit, assigned_power_w or {})
    return [_with_assigned(score, off.get(score.bench_id)) for score in among]


def _among_benches(
    bench_id: str, effect: float, u: float, centre: float, *, by_consensus: bool
) -> BenchScore:
    z = z_score(effect, centre, SIGMA_PT)
    return BenchScore(
        bench_id=bench_id,
        effect=effect - centre,
        u=u,
        z=z,
        zeta=zeta_score(effect, centre, u, 0.0),
        e_n=e_n_score(effect, centre, COVERAGE_FACTOR * u, 0.0),
        verdict=verdict_of(z),
        against="consensus" if by_consensus else "season_model",
    )


def _off_assigned(
    fit: SeasonFit, assigned_power_w: Mapping[str, float]
) -> dict[str, tuple[float, float]]:
    """Return how far each bench reads off a rotor of assigned power, and the reading's uncertainty.

    Benches that no such rotor is joined to are left out.
    """
    off: dict[str, tuple[float, float]] = {}
    effects = dict(zip(fit.bench_ids, map(float, fit.bench_effect), strict=True))
    for group in fit.groups:
        anchor = anchor_of(group, assigned_power_w)
        if anchor is not None:
            above = fit.effects[anchor] - math.log(assigned_power_w[anchor])
            joined = [
                bench_id
                for bench_id in fit.bench_ids
                if fit.bench_group.get(bench_id) == fit.group_of[anchor]
            ]
            u = fit.u_of_readings(anchor, joined).tolist()
            off |= {
                bench_id: (above + effects[bench_id], each)
                for bench_id, each in zip(joined, u, strict=True)
            }
    return off


def _with_assigned(among: BenchScore, read: tuple[float, float] | None) -> BenchScore:
    """Return the score with that against an assigned power, and the graver verdict of both."""
    if read is None:
        return among
    off, u = read
    z_prime = z_score(off, 0.0, math.hypot(SIGMA_PT, U_ASSIGNING_BENCH))
    assigned = AssignedScore(
        effect=off,
        z_prime=z_prime,
        zeta=zeta_score(off, 0.0, u, U_ASSIGNING_BENCH),
        e_n=e_n_score(off, 0.0, COVERAGE_FACTOR * u, COVERAGE_FACTOR * U_ASSIGNING_BENCH),
        verdict=verdict_of(z_prime),
    )
    graver = max(among.verdict, assigned.verdict, key=GRAVER.index)
    return replace(among, assigned=assigned, verdict=graver)


def verdict_of(z: float) -> Verdict:
    """Return the verdict of a z score.

    Parameters
    ----------
    z : float
        z or z′. [-]

    Returns
    -------
    str
        `fine` up to 2 in size, `look` below 3, `act` from there on.

    Examples
    --------
    >>> verdict_of(2.0), verdict_of(-2.1), verdict_of(3.0)
    ('fine', 'look', 'act')
    """
    return "fine" if abs(z) <= LOOK_FROM else "look" if abs(z) < ACT_FROM else "act"


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

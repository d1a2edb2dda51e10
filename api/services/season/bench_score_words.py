"""The scores of benches as they are read: against their neighbours and the assigned power."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from analysis.comparison.bench_scores import BenchScore, verdict_of
from analysis.uncertainty import percent
from api.models.season.comparison import AssignedScoreRead, BenchScoreRead
from api.services.core import wording
from api.services.core.scope import Caller
from api.services.season.coarse import coarse_score
from api.services.season.fit import Fitted


class Named(NamedTuple):
    """A team or a bench."""

    id: str
    name: str
    organisation_id: str


def read_scores(
    caller: Caller, fitted: Fitted, benches: Mapping[str, Named]
) -> list[BenchScoreRead]:
    """Return the scores of a season's benches; for a coach only of their own."""
    own = caller.organisation_ids
    counts = fitted.trials_at
    scores = fitted.bench_scores
    return [
        _bench(
            coarse_score(score) if fitted.is_coarse else score,
            benches[score.bench_id].name,
            counts[score.bench_id],
            len(scores) == 1,
        )
        for score in scores
        if own is None or benches[score.bench_id].organisation_id in own
    ]


def _bench(score: BenchScore, name: str, trials: int, is_alone: bool) -> BenchScoreRead:
    assigned = score.assigned
    return BenchScoreRead(
        bench_id=score.bench_id,
        name=name,
        effect_pct=percent(score.effect),
        u_pct=100 * score.u,
        z=score.z,
        zeta=score.zeta,
        e_n=score.e_n,
        against=score.against,
        assigned=assigned
        and AssignedScoreRead(
            effect_pct=percent(assigned.effect),
            z_prime=assigned.z_prime,
            zeta=assigned.zeta,
            e_n=assigned.e_n,
            verdict=assigned.verdict,
        ),
        verdict=score.verdict,
        trials=trials,
        **_bench_in_words(score, name, is_alone),
    )


def _bench_in_words(score: BenchScore, name: str, is_alone: bool) -> dict[str, Any]:
    """Return the sentence of the comparison whose verdict is the graver."""
    assigned = score.assigned
    is_by_assigned = is_alone or verdict_of(score.z) != score.verdict
    if assigned and is_by_assigned:
        effect = percent(assigned.effect)
        return wording.statement(f"bench.assigned_{assigned.verdict}", bench=name, effect=effect)
    key = "bench.alone" if is_alone else f"bench.{score.verdict}"
    return wording.statement(key, bench=name, effect=percent(score.effect))

"""Put the current builds of a season in order, and compare pairs of them."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from sqlmodel import Session

from analysis.comparison.pairs import compare_each, is_any_comparable, place_ranges
from api.messages import current_language
from api.models.registry.seasons import Season
from api.models.season.comparison import FairBuild, PairRead
from api.services.core.cache import cache_of
from api.services.core.scope import Caller
from api.services.core.sizes import COUNTED_ELSEWHERE
from api.services.season.comparisons import (
    VisibleComparison,
    fair_build,
    hidden_builds,
    in_order,
    pair_read,
    visible_to,
)
from api.services.season.fit import Fitted, fitted_season


@dataclass(frozen=True, slots=True)
class ComparableBuilds:
    """The visible current builds, by group, strongest first."""

    groups: list[list[FairBuild]]
    not_shown: int
    #: Whether any build can be compared with the next one of its group.
    is_available: bool = False
    #: The best and the worst place of each build that its uncertainty leaves open.
    places: dict[str, tuple[int, int]] = field(default_factory=dict)
    fitted: Fitted | None = field(default=None, metadata=COUNTED_ELSEWHERE)
    visible: VisibleComparison | None = None


def comparable_builds(db: Session, caller: Caller, season: Season) -> ComparableBuilds:
    """Return the season's current builds in order."""
    fitted = fitted_season(db, caller, season)
    if fitted is None:
        return ComparableBuilds([], 0)
    visible = visible_to(db, caller, season)
    about = fitted.view, fitted.is_coarse, visible.shown, current_language()
    ranked: ComparableBuilds = cache_of(db).get_or_make(
        ("ranking", season.id, *about), fitted.revision, lambda: _ranked(fitted, visible)
    )
    return ranked


def _ranked(fitted: Fitted, visible: VisibleComparison) -> ComparableBuilds:
    groups: dict[int, list[str]] = defaultdict(list)
    for build_id in in_order(fitted, visible):
        groups[fitted.fit.group_of[build_id]].append(build_id)
    nexts = [pair for _, builds in sorted(groups.items()) for pair in pairwise(builds)]
    return ComparableBuilds(
        [
            [fair_build(each, fitted, visible) for each in builds]
            for _, builds in sorted(groups.items())
        ],
        hidden_builds(fitted, visible),
        is_any_comparable(fitted.fit, nexts),
        place_ranges(fitted.fit, list(groups.values())),
        fitted,
        visible,
    )


def pairs_of(ranked: ComparableBuilds, pairs: Sequence[tuple[str, str]]) -> dict[str, PairRead]:
    """Return the comparisons of pairs of builds, each under its first build."""
    fitted, visible = ranked.fitted, ranked.visible
    if fitted is None or visible is None:
        return {}
    return {each.a: pair_read(each, fitted, visible) for each in compare_each(fitted.fit, pairs)}

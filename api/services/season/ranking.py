"""Put the current builds of a season in order, and compare pairs of them."""

from collections import defaultdict
from collections.abc import Sequence, Set
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

AT_ONCE = 50  # pairs that are looked at together: one that can be compared is enough


@dataclass(frozen=True, slots=True)
class ComparableBuilds:
    """The visible current builds by group, strongest first; more of them is computed when asked.

    A school's report shows a few of a large season's builds.
    """

    groups: list[list[str]]
    not_shown: int
    #: Whether any build can be compared with the next one of its group.
    is_available: bool
    fitted: Fitted = field(metadata=COUNTED_ELSEWHERE)
    visible: VisibleComparison

    def team_of(self, build_id: str) -> str:
        """Return the team of a build."""
        return self.fitted.team_of[build_id]

    def read(self, build_id: str) -> FairBuild:
        """Return a build with its comparable power."""
        return fair_build(build_id, self.fitted, self.visible)

    def places(self, build_ids: Set[str]) -> dict[str, tuple[int, int]]:
        """Return the best and the worst place that the uncertainty of each build leaves open."""
        groups = [group for group in self.groups if not build_ids.isdisjoint(group)]
        return place_ranges(self.fitted.fit, groups, build_ids)

    def pairs(self, pairs: Sequence[tuple[str, str]]) -> dict[str, PairRead]:
        """Return the comparisons of pairs of builds, each under its first build."""
        compared = compare_each(self.fitted.fit, pairs)
        return {each.a: pair_read(each, self.fitted, self.visible) for each in compared}


def comparable_builds(db: Session, caller: Caller, season: Season) -> ComparableBuilds | None:
    """Return the season's current builds in order; None if no trial counts."""
    fitted = fitted_season(db, caller, season)
    if fitted is None:
        return None
    visible = visible_to(db, caller, season)
    about = fitted.view, fitted.is_coarse, visible.shown, current_language()
    ranked: ComparableBuilds = cache_of(db).get_or_make(
        ("ranking", season.id, *about), fitted.revision, lambda: _ranked(fitted, visible)
    )
    return ranked


def _ranked(fitted: Fitted, visible: VisibleComparison) -> ComparableBuilds:
    by_group: dict[int, list[str]] = defaultdict(list)
    for build_id in in_order(fitted, visible):
        by_group[fitted.fit.group_of[build_id]].append(build_id)
    groups = [builds for _, builds in sorted(by_group.items())]
    nexts = [pair for builds in groups for pair in pairwise(builds)]
    parts = (nexts[at : at + AT_ONCE] for at in range(0, len(nexts), AT_ONCE))
    is_available = any(is_any_comparable(fitted.fit, part) for part in parts)
    return ComparableBuilds(groups, hidden_builds(fitted, visible), is_available, fitted, visible)

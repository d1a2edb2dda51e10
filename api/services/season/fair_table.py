"""Make the season report's table of comparable power, with builds of different benches."""

from collections.abc import Mapping
from itertools import pairwise
from typing import NamedTuple

from api.messages import say
from api.models.season.comparison import FairBuild, PairRead
from api.models.season.reports import FairPlace, FairTable
from api.services.core import wording
from api.services.registry.current_builds import CurrentBuild
from api.services.season.fit import Fitted
from api.services.season.ranking import ComparableBuilds


def fair_table(
    ranking: ComparableBuilds | None, team_ids: set[str], current: Mapping[str, CurrentBuild]
) -> FairTable:
    """Return the newest counted builds of teams on the season's scale, by group.

    Each is compared with the next visible one, even if hidden builds are between them.
    """
    if ranking is None:
        return FairTable(
            available=False, places=[], not_shown=0, **wording.statement("fair.not_yet")
        )
    shown = [
        [
            (place, len(builds), build)
            for place, build in enumerate(builds, start=1)
            if ranking.team_of(build) in team_ids
        ]
        for builds in ranking.groups
    ]
    nexts = [(one[-1], other[-1]) for of in shown for one, other in pairwise(of)]
    ahead, places = (
        ranking.pairs(nexts),
        ranking.places({build for of in shown for *_, build in of}),
    )
    return FairTable(
        available=ranking.is_available,
        places=[
            _read(_Place(place, size, places[build]), ranking.read(build), ahead, current)
            for of in shown
            for place, size, build in of
        ],
        not_shown=ranking.not_shown,
        others_as_of=ranking.fitted.others_as_of,
        assumption=_assumption(ranking.fitted) if ranking.is_available else None,
        **wording.statement("fair.available" if ranking.is_available else "fair.not_yet"),
    )


def _assumption(fitted: Fitted) -> str | None:
    """Return what a comparison of several benches assumes; None if the season tells it."""
    fit = fitted.fit
    if fit.is_interaction_estimated or len(fit.bench_ids) == 1:
        return None
    spread = 100 * fit.spread.interaction
    return say("season.assumed", spread=spread, twice=2 * spread)


class _Place(NamedTuple):
    """The place of a build in its group, and the places that its uncertainty leaves open."""

    place: int
    group_size: int
    places: tuple[int, int]


def _read(
    place: _Place,
    build: FairBuild,
    ahead: Mapping[str, PairRead],
    current: Mapping[str, CurrentBuild],
) -> FairPlace:
    newest = current.get(build.team_id)
    return FairPlace(
        group=build.group,
        **place._asdict(),
        team_id=build.team_id,
        name=build.team_name,
        build_id=build.build_id,
        build_number=build.build_number,
        untested_build_number=(
            newest.number if newest and newest.build_id != build.build_id else None
        ),
        fair_power_w=build.fair_power_w,
        u_total=build.u_total,
        interval_w=build.interval_w,
        trials=build.trials,
        ahead_of_next=ahead.get(build.build_id),
        reason=build.reason,
    )

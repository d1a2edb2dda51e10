"""The season report's fair table: current builds of different benches in one order."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

from api.models.comparison import FairBuild, PairRead, SeasonComparison
from api.models.reports import FairPlace, FairTable
from api.services import wording

Pairs = Mapping[tuple[str, str], PairRead]


def fair_table(comparison: SeasonComparison, team_ids: set[str]) -> FairTable:
    """Return the current builds of some teams on the season's scale, group by group."""
    said = {(pair.a, pair.b): pair for pair in comparison.pairs}
    groups: dict[int, list[FairBuild]] = {}
    for build in comparison.builds:
        if build.current:
            groups.setdefault(build.group, []).append(build)
    strongest = {build: rank for rank, build in enumerate(_in_order(comparison))}
    places = [
        place
        for _, builds in sorted(groups.items())
        for place in _places(sorted(builds, key=lambda each: strongest[each.build_id]), said)
        if place.team_id in team_ids
    ]
    is_available = any(pair.comparable != "not_yet" for pair in comparison.pairs)
    return FairTable(
        available=is_available,
        places=places,
        not_shown=comparison.not_shown,
        **wording.say("fair.available" if is_available else "fair.not_yet"),
    )


def _in_order(comparison: SeasonComparison) -> list[str]:
    """Return the current builds, strongest first: pairs are listed in that order."""
    builds = [pair.a for pair in comparison.pairs] + [pair.b for pair in comparison.pairs[-1:]]
    alone = [build.build_id for build in comparison.builds if build.current]
    return list(dict.fromkeys(builds or alone))


def _places(builds: Sequence[FairBuild], said: Pairs) -> list[FairPlace]:
    """Return the places of one group's builds, each with what may be said of it and the next."""
    nexts = {one.build_id: said.get((one.build_id, other.build_id)) for one, other in
             pairwise(builds)}  # fmt: skip
    return [
        FairPlace(
            group=build.group,
            place=place,
            team_id=build.team_id,
            name=build.team_name,
            build_id=build.build_id,
            build_number=build.build_number,
            fair_power_w=build.fair_power_w,
            u_total=build.u_total,
            interval_w=build.interval_w,
            trials=build.trials,
            ahead_of_next=nexts.get(build.build_id),
            reason=build.reason,
        )
        for place, build in enumerate(builds, start=1)
    ]

"""The season report's fair table: current builds of different benches in one order."""

from api.models.comparison import FairBuild
from api.models.reports import FairPlace, FairTable
from api.services import wording
from api.services.comparisons import Standing


def fair_table(standing: Standing, team_ids: set[str]) -> FairTable:
    """Return the current builds of some teams on the season's scale, group by group."""
    places = [
        _place(place, build, standing)
        for builds in standing.groups
        for place, build in enumerate(builds, start=1)
        if build.team_id in team_ids
    ]
    is_available = any(pair.comparable != "not_yet" for pair in standing.ahead.values())
    return FairTable(
        available=is_available,
        places=places,
        not_shown=standing.not_shown,
        **wording.say("fair.available" if is_available else "fair.not_yet"),
    )


def _place(place: int, build: FairBuild, standing: Standing) -> FairPlace:
    return FairPlace(
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
        ahead_of_next=standing.ahead.get(build.build_id),
        reason=build.reason,
    )

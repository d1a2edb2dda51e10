"""Order the builds within each bench, as far as their intervals decide it."""

from collections.abc import Iterable

from analysis.season.estimates import Figure, probability_ahead
from analysis.uncertainty import interval
from api.models.season.reports import (
    BenchOrder,
    BenchPlace,
)
from api.services.season.names import SeasonNames
from api.services.season.season_facts import SeasonFacts

#: Below this probability the order of two builds is too close to call.
SURE_ENOUGH = 0.80
#: A team and the figure of its newest build with a counted trial.
Current = tuple[str, Figure]


def bench_orders(
    bench_ids: Iterable[str], facts: SeasonFacts, names: SeasonNames
) -> list[BenchOrder]:
    """Return the order of teams within each of these benches; benches are not compared."""
    orders = [
        _bench_order(bench_id, _among(bench_id, facts, names), names)
        for bench_id in bench_ids
        if bench_id in names.benches
    ]
    return sorted(orders, key=lambda order: (order.name.casefold(), order.bench_id))


def _among(bench_id: str, facts: SeasonFacts, names: SeasonNames) -> list[Current]:
    """Return the teams whose current build was tested at this bench only."""
    there = sorted(facts.teams_at.get(bench_id, ()))
    figures = [(team_id, facts.current(team_id)) for team_id in there if team_id in names.teams]
    return [
        (team_id, figure)
        for team_id, figure in figures
        if figure is not None and figure.bench_id == bench_id
    ]


def _bench_order(bench_id: str, among: list[Current], names: SeasonNames) -> BenchOrder:
    strongest = sorted(among, key=lambda current: -current[1].normalised_power_w)
    name, owner = names.benches[bench_id]
    nexts: list[Figure | None] = [*(figure for _, figure in strongest[1:]), None]
    return BenchOrder(
        bench_id=bench_id,
        name=name,
        organisation_id=owner,
        order=[
            _bench_place(place, current, after, names)
            for place, (current, after) in enumerate(zip(strongest, nexts, strict=True), start=1)
        ],
    )


def _bench_place(
    place: int, current: Current, after: Figure | None, names: SeasonNames
) -> BenchPlace:
    team_id, figure = current
    ahead = None if after is None else probability_ahead(figure, after)
    return BenchPlace(
        place=place,
        team_id=team_id,
        name=names.teams[team_id],
        build_number=names.build_numbers[figure.label],
        untested_build_number=names.untested(team_id, figure.label),
        normalised_power_w=figure.normalised_power_w,
        u_own=figure.u_own,
        interval_within_bench_w=interval(figure.normalised_power_w, figure.u_own),
        trials=figure.trials,
        sessions=figure.sessions,
        probability_ahead_of_next=ahead,
        too_close_to_next=ahead is not None and ahead < SURE_ENOUGH,
    )

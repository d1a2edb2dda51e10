"""Compare schools fairly: fit the complete season, and show each caller the builds they may see."""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import pairwise

from sqlmodel import Session, col, select

from analysis.comparison.bench_scores import missing_links
from analysis.comparison.pairs import Pair, compare_all, compare_each, place_ranges
from analysis.numeric.resolution import two_digits
from api.errors import NotFound
from api.messages import say
from api.models.registry.benches import Bench
from api.models.registry.builds import Build
from api.models.registry.events import Event
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.season.comparison import (
    BenchScoreRead,
    FairBuild,
    MissingLinkRead,
    ModelCheck,
    OddTrialRead,
    PairRead,
    SeasonComparison,
)
from api.services.core import resources, wording
from api.services.core.scope import Caller
from api.services.season.bench_score_words import Named, read_scores
from api.services.season.cached_answers import season_answer
from api.services.season.coarse import coarse_pair
from api.services.season.fit import Fitted, fitted_season
from api.services.season.odd_trial_words import odd_trials

ALL_PAIRS_UP_TO = 200  # current builds; with more, each is compared only with the next ones
NEXT_ONES = 20


@dataclass(frozen=True, slots=True)
class VisibleComparison:
    """The names and owners of teams and benches, and the schools that the caller may see."""

    teams: dict[str, Named]
    numbers: dict[str, int]
    benches: dict[str, Named]
    shown: frozenset[str]

    def is_shown(self, build_id: str, fitted: Fitted) -> bool:
        """Tell whether a team's build may be shown; False for a reference rotor."""
        team = self.teams.get(fitted.team_of[build_id])
        return team is not None and team.organisation_id in self.shown


def compare_season(
    db: Session, caller: Caller, season_id: str, event_id: str | None = None
) -> SeasonComparison:
    """Return the season's builds on one scale, now or as of the morning of an event.

    The fit is cached for each revision of the season.
    """
    season = resources.get_row(db, caller, Season, season_id)
    until = None if event_id is None else morning_of(db, caller, season, event_id)

    def make(db: Session, season: Season) -> SeasonComparison:
        return _compare(db, caller, season, until)

    return season_answer(db, caller, season, ("comparison", until), make)


def morning_of(db: Session, caller: Caller, season: Season, event_id: str) -> datetime:
    """Return when the day of a season's event begins, in the season's time zone."""
    event = resources.get_row(db, caller, Event, event_id)
    if event.season_id != season.id:
        raise NotFound(say("report_refused.no_event_in_season", event_id=event_id))
    return event.morning(season.timezone)


def _compare(
    db: Session, caller: Caller, season: Season, until: datetime | None
) -> SeasonComparison:
    fitted = fitted_season(db, caller, season, until)
    if fitted is None:
        return _nothing(season)
    visible = visible_to(db, caller, fitted)
    builds = [
        _fair(build_id, fitted, visible)
        for build_id in fitted.fit.build_ids
        if visible.is_shown(build_id, fitted)
    ]
    pairs, left_out = _pairs(fitted, visible)
    return SeasonComparison(
        season_id=season.id,
        as_of=datetime.now(UTC),
        revision=season.revision,
        groups=_groups_shown(fitted, visible),
        builds=builds,
        benches=read_scores(caller, fitted, visible.benches),
        pairs=pairs,
        pairs_not_listed=left_out,
        missing_links=links(caller, fitted, visible),
        check=_check(fitted),
        odd_trials=odd_trials(
            caller, fitted, {team.id: team.name for team in visible.teams.values()}
        ),
        trials=len(fitted.trials["build_id"]),
        not_shown=_hidden(fitted, visible),
        reason=None,
        others_as_of=fitted.others_as_of,
    )


def _nothing(season: Season) -> SeasonComparison:
    return SeasonComparison(
        season_id=season.id,
        as_of=datetime.now(UTC),
        revision=season.revision,
        groups=[],
        builds=[],
        benches=[],
        pairs=[],
        pairs_not_listed=0,
        missing_links=[],
        check=None,
        odd_trials=[],
        trials=0,
        not_shown=0,
        reason=say("reason.no_trials"),
    )


def visible_to(db: Session, caller: Caller, fitted: Fitted) -> VisibleComparison:
    """Read names, and the schools whose builds the caller may see: own, and those that share."""
    teams, benches = _named(db, Team), _named(db, Bench)
    numbers = db.execute(select(Build.id, Build.number))
    sharing = select(Organisation.id).where(col(Organisation.sharing) == "named")
    everyone = frozenset(team.organisation_id for team in teams.values())
    own = caller.organisation_ids
    return VisibleComparison(
        teams=teams,
        numbers={row.id: row.number for row in numbers},
        benches=benches,
        shown=everyone if own is None else own | frozenset(db.scalars(sharing)),
    )


def _named(db: Session, table: type[Team | Bench]) -> dict[str, Named]:
    rows = db.execute(select(table.id, table.name, table.organisation_id))
    return {row.id: Named(*row) for row in rows}


def _groups_shown(fitted: Fitted, visible: VisibleComparison) -> list[list[str]]:
    """Return the groups, with the builds that the caller may see and the reference rotors."""
    return [
        [
            build_id
            for build_id in group
            if not fitted.team_of[build_id] or visible.is_shown(build_id, fitted)
        ]
        for group in fitted.fit.groups
    ]


def _fair(build_id: str, fitted: Fitted, visible: VisibleComparison) -> FairBuild:
    team = visible.teams[fitted.team_of[build_id]]
    fair = fitted.fair.get(build_id)
    return FairBuild(
        build_id=build_id,
        build_number=visible.numbers[build_id],
        team_id=team.id,
        team_name=team.name,
        current=fitted.current.get(team.id) == build_id,
        group=fitted.fit.group_of[build_id],
        fair_power_w=fair and fair.power_w,
        u_total=fair and fair.u_total,
        u_region=fair and fair.u_region,
        interval_w=fair and fair.interval_w,
        trials=fitted.trials_of[build_id],
        reason=None if fair else say("reason.no_reference"),
    )


def _hidden(fitted: Fitted, visible: VisibleComparison) -> int:
    """Return the number of hidden builds of teams."""
    return sum(
        bool(team) and not visible.is_shown(build_id, fitted)
        for build_id, team in fitted.team_of.items()
    )


def _in_order(fitted: Fitted, visible: VisibleComparison) -> list[str]:
    """Return the visible current builds, strongest first."""
    current = [each for each in fitted.current.values() if visible.is_shown(each, fitted)]
    return sorted(current, key=lambda build_id: -fitted.fit.effects[build_id])


def _pairs(fitted: Fitted, visible: VisibleComparison) -> tuple[list[PairRead], int]:
    """Return the comparisons of pairs of current builds, the stronger first.

    With very many builds each is compared only with the next ones; the other pairs are counted.
    """
    current = _in_order(fitted, visible)
    if len(current) <= ALL_PAIRS_UP_TO:
        pairs = compare_all(fitted.fit, current) if current else []
    else:
        near = [
            (a, b) for at, a in enumerate(current) for b in current[at + 1 : at + 1 + NEXT_ONES]
        ]
        pairs = compare_each(fitted.fit, near)
    every = len(current) * (len(current) - 1) // 2
    return [_pair(pair, fitted, visible) for pair in pairs], every - len(pairs)


@dataclass(frozen=True, slots=True)
class ComparableBuilds:
    """The visible current builds, by group, strongest first.

    `ahead` has the comparison of each build with the next one of its group.
    """

    groups: list[list[FairBuild]]
    ahead: dict[str, PairRead]
    not_shown: int
    #: The best and the worst place of each build that its uncertainty leaves open.
    places: dict[str, tuple[int, int]] = field(default_factory=dict)
    fitted: Fitted | None = None
    visible: VisibleComparison | None = None


def bench_scores(db: Session, caller: Caller, season_id: str) -> list[BenchScoreRead]:
    """Return the scores of a season's benches; for a coach only of their own."""
    fitted = fitted_season(db, caller, resources.get_row(db, caller, Season, season_id))
    return (
        []
        if fitted is None
        else read_scores(caller, fitted, visible_to(db, caller, fitted).benches)
    )


def season_odd_trials(db: Session, caller: Caller, season: Season) -> list[OddTrialRead]:
    """Return the trials that do not fit the season; for a coach only of their own schools."""
    fitted = fitted_season(db, caller, season)
    if fitted is None or not fitted.odd_trials:
        return []
    teams = {team.id: team.name for team in _named(db, Team).values()}
    return odd_trials(caller, fitted, teams)


def comparable_builds(db: Session, caller: Caller, season: Season) -> ComparableBuilds:
    """Return the season's current builds in order, each compared with the next one."""
    fitted = fitted_season(db, caller, season)
    if fitted is None:
        return ComparableBuilds([], {}, 0)
    visible = visible_to(db, caller, fitted)
    groups: dict[int, list[str]] = defaultdict(list)
    for build_id in _in_order(fitted, visible):
        groups[fitted.fit.group_of[build_id]].append(build_id)
    nexts = [pair for _, builds in sorted(groups.items()) for pair in pairwise(builds)]
    return ComparableBuilds(
        [[_fair(each, fitted, visible) for each in builds] for _, builds in sorted(groups.items())],
        {pair.a: _pair(pair, fitted, visible) for pair in compare_each(fitted.fit, nexts)},
        _hidden(fitted, visible),
        place_ranges(fitted.fit, list(groups.values())),
        fitted,
        visible,
    )


def pairs_of(ranked: ComparableBuilds, pairs: Sequence[tuple[str, str]]) -> dict[str, PairRead]:
    """Return the comparisons of pairs of builds, each under its first build."""
    by_first = {a: ranked.ahead[a] for a, b in pairs if _is_next(ranked, a, b)}
    others = [pair for pair in pairs if pair[0] not in by_first]
    fitted, visible = ranked.fitted, ranked.visible
    if others and fitted is not None and visible is not None:
        by_first |= {
            each.a: _pair(each, fitted, visible) for each in compare_each(fitted.fit, others)
        }
    return by_first


def _is_next(ranked: ComparableBuilds, a: str, b: str) -> bool:
    return a in ranked.ahead and ranked.ahead[a].b == b


def _pair(exact: Pair, fitted: Fitted, visible: VisibleComparison) -> PairRead:
    pair = coarse_pair(exact) if fitted.is_coarse else exact
    a, b = (visible.teams[fitted.team_of[each]].name for each in (pair.a, pair.b))
    return PairRead(
        a=pair.a,
        b=pair.b,
        comparable=pair.comparable,
        probability_a_ahead=pair.probability_a_ahead,
        u_difference=pair.u_difference,
        interval_pct=pair.interval_pct,
        statement=pair.statement,
        trials=fitted.trials_of[pair.a] + fitted.trials_of[pair.b],
        **wording.pair(pair.statement, pair.comparable, a, b, pair.probability_a_ahead),
    )


def _check(fitted: Fitted) -> ModelCheck:
    """Return whether the season's trials scatter as their uncertainties predict."""
    check, spread = fitted.fit.check_residuals(), fitted.fit.spread
    rounded: Callable[[float], float] = two_digits if fitted.is_coarse else float
    deviation = rounded(check.standard_deviation)
    sentence = wording.statement(f"model.{check.verdict}", spread=deviation)
    return ModelCheck.model_validate(
        sentence
        | {
            "standard_deviation": deviation,
            "verdict": check.verdict,
            "trials": check.trials,
            "session_sd": rounded(spread.session),
            "residual_factor": rounded(spread.residual),
            "estimated": fitted.fit.is_estimated,
            "interaction_sd": rounded(spread.interaction),
            "interaction_estimated": fitted.fit.is_interaction_estimated,
        }
    )


def links(caller: Caller, fitted: Fitted, visible: VisibleComparison) -> list[MissingLinkRead]:
    """Return the sessions that would join separate groups, the most useful first."""
    benches_of: dict[str, list[str]] = defaultdict(list)
    for build_id, bench_id in zip(
        fitted.trials["build_id"], fitted.trials["bench_id"], strict=True
    ):
        benches_of[build_id].append(bench_id)
    links = []
    for missing in missing_links(
        fitted.fit, benches_of, fitted.references, list(fitted.current.values())
    ):
        shown = [each for each in missing.joins if visible.is_shown(each, fitted)]
        if shown:
            teams = list(dict.fromkeys(visible.teams[fitted.team_of[each]].name for each in shown))
            bench = visible.benches[missing.bench_id]
            own = caller.organisation_ids
            is_shown = own is None or bench.organisation_id in own
            links.append(
                MissingLinkRead(
                    joins=shown,
                    bench_id=bench.id if is_shown else None,
                    needs=missing.needs,
                    **wording.link(
                        missing.needs,
                        bench.name if is_shown else say("report_words.their_bench"),
                        teams,
                    ),
                )
            )
    return links

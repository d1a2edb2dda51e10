"""Compare schools fairly: fit the complete season, and show each caller the builds they may see."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from sqlmodel import Session, col, select

from analysis.comparison.bench_scores import missing_links
from analysis.comparison.pairs import Pair, compare_all, compare_each
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
from api.services.core.cache import cache_of
from api.services.core.changes import facts_revision
from api.services.core.scope import Caller
from api.services.season.bench_score_words import Named, read_scores
from api.services.season.cached_answers import season_answer
from api.services.season.coarse import coarse_pair
from api.services.season.fit import Fitted, fitted_season
from api.services.season.odd_trial_words import odd_trials

ALL_PAIRS_UP_TO = 200  # current builds; with more, each is compared only with the next ones
NEXT_ONES, MOST_PAIRS, MOST_BUILDS = 20, 2_000, 1_000  # listed at most


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
    db: Session,
    caller: Caller,
    season_id: str,
    event_id: str | None = None,
    organisation_id: str | None = None,
) -> SeasonComparison:
    """Return the season's builds on one scale, now or as of the morning of an event.

    With an organisation only its builds, pairs and benches. The fit is cached for each revision of
    the season.
    """
    season = resources.get_row(db, caller, Season, season_id)
    until = None if event_id is None else morning_of(db, caller, season, event_id)
    if organisation_id is not None:
        resources.get_row(db, caller, Organisation, organisation_id)

    def make(db: Session, season: Season) -> SeasonComparison:
        return _compare(db, caller, season, until, organisation_id)

    return season_answer(db, caller, season, ("comparison", until, organisation_id), make)


def morning_of(db: Session, caller: Caller, season: Season, event_id: str) -> datetime:
    """Return when the day of a season's event begins, in the season's time zone."""
    event = resources.get_row(db, caller, Event, event_id)
    if event.season_id != season.id:
        raise NotFound(say("report_refused.no_event_in_season", event_id=event_id))
    return event.morning(season.timezone)


def _compare(
    db: Session,
    caller: Caller,
    season: Season,
    until: datetime | None,
    organisation_id: str | None,
) -> SeasonComparison:
    fitted = fitted_season(db, caller, season, until)
    if fitted is None:
        return _nothing(season)
    visible = visible_to(db, caller, season)
    asked = _Asked(fitted, visible, organisation_id)
    builds = asked.builds()
    pairs, left_out = _pairs(fitted, visible, asked)
    return SeasonComparison(
        season_id=season.id,
        as_of=datetime.now(UTC),
        revision=season.revision,
        groups=_groups_shown(fitted, visible),
        builds=[fair_build(build_id, fitted, visible) for build_id in builds[:MOST_BUILDS]],
        builds_not_listed=max(0, len(builds) - MOST_BUILDS),
        benches=[
            score
            for score in read_scores(caller, fitted, visible.benches)
            if asked.is_of(visible.benches[score.bench_id].organisation_id)
        ],
        pairs=pairs,
        pairs_not_listed=left_out,
        missing_links=links(caller, fitted, visible),
        check=_check(fitted),
        odd_trials=odd_trials(
            caller, fitted, {team.id: team.name for team in visible.teams.values()}
        ),
        trials=len(fitted.trials["build_id"]),
        not_shown=hidden_builds(fitted, visible),
        reason=None,
        others_as_of=fitted.others_as_of,
    )


@dataclass(frozen=True, slots=True)
class _Asked:
    """The builds that a comparison lists: all that are visible, or those of one school."""

    fitted: Fitted
    visible: VisibleComparison
    organisation_id: str | None

    def is_of(self, organisation_id: str) -> bool:
        """Tell whether a school was asked for."""
        return self.organisation_id in (None, organisation_id)

    def lists(self, build_id: str) -> bool:
        """Tell whether a visible build belongs to a requested school."""
        return self.is_of(self.visible.teams[self.fitted.team_of[build_id]].organisation_id)

    def builds(self) -> list[str]:
        """Return the builds in the order of their ids; of very many the current ones first."""
        shown = [
            build
            for build in self.fitted.fit.build_ids
            if self.visible.is_shown(build, self.fitted) and self.lists(build)
        ]
        if len(shown) <= MOST_BUILDS:
            return shown
        current, effects = set(self.fitted.current.values()), self.fitted.fit.effects
        return sorted(shown, key=lambda build: (build not in current, -effects[build]))


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


def visible_to(db: Session, caller: Caller, season: Season) -> VisibleComparison:
    """Read names, and the schools whose builds the caller may see: own, and those that share."""
    revision = facts_revision(db, season)
    names: _Names = cache_of(db).get_or_make(("names", season.id), revision, lambda: _names(db))
    everyone = frozenset(team.organisation_id for team in names.teams.values())
    own = caller.organisation_ids
    return VisibleComparison(
        teams=names.teams,
        numbers=names.numbers,
        benches=names.benches,
        shown=everyone if own is None else own | names.sharing,
    )


@dataclass(frozen=True, slots=True)
class _Names:
    """The names of all teams and benches, build numbers, and the schools that share by name."""

    teams: dict[str, Named]
    numbers: dict[str, int]
    benches: dict[str, Named]
    sharing: frozenset[str]


def _names(db: Session) -> _Names:
    numbers = db.execute(select(Build.id, Build.number))
    sharing = select(Organisation.id).where(col(Organisation.sharing) == "named")
    return _Names(
        teams=_named(db, Team),
        numbers={row.id: row.number for row in numbers},
        benches=_named(db, Bench),
        sharing=frozenset(db.scalars(sharing)),
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


def fair_build(build_id: str, fitted: Fitted, visible: VisibleComparison) -> FairBuild:
    """Return a visible build with its comparable power, or the reason why it has none."""
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
        reason=None if fair else say(_reason(build_id, fitted)),
    )


def _reason(build_id: str, fitted: Fitted) -> str:
    """Return the key of the reason why a build has no comparable power."""
    is_contradictory = build_id in fitted.fit.contradictory
    return "reason.contradictory" if is_contradictory else "reason.no_reference"


def hidden_builds(fitted: Fitted, visible: VisibleComparison) -> int:
    """Return the number of hidden builds of teams."""
    return sum(
        bool(team) and not visible.is_shown(build_id, fitted)
        for build_id, team in fitted.team_of.items()
    )


def in_order(fitted: Fitted, visible: VisibleComparison) -> list[str]:
    """Return the visible current builds, strongest first."""
    current = [each for each in fitted.current.values() if visible.is_shown(each, fitted)]
    return sorted(current, key=lambda build_id: -fitted.fit.effects[build_id])


def _pairs(fitted: Fitted, visible: VisibleComparison, asked: _Asked) -> tuple[list[PairRead], int]:
    """Return the comparisons of pairs of current builds, the stronger first.

    With very many builds each is compared only with the next ones; the other pairs are counted.
    """
    current = in_order(fitted, visible)
    listed = {build for build in current if asked.lists(build)}
    every = len(current) * (len(current) - 1) // 2
    if len(current) <= ALL_PAIRS_UP_TO:
        pairs = [
            pair
            for pair in (compare_all(fitted.fit, current) if current else [])
            if pair.a in listed or pair.b in listed
        ]
    else:
        # The nearest neighbours first, so that each build has some.
        near = [
            (at, at + apart)
            for apart in range(1, NEXT_ONES + 1)
            for at in range(len(current) - apart)
            if current[at] in listed or current[at + apart] in listed
        ]
        chosen = [(current[a], current[b]) for a, b in sorted(near[:MOST_PAIRS])]
        pairs = compare_each(fitted.fit, chosen)
    return [pair_read(pair, fitted, visible) for pair in pairs], every - len(pairs)


def bench_scores(db: Session, caller: Caller, season_id: str) -> list[BenchScoreRead]:
    """Return the scores of a season's benches; for a coach only of their own."""
    season = resources.get_row(db, caller, Season, season_id)
    fitted = fitted_season(db, caller, season)
    return (
        []
        if fitted is None
        else read_scores(caller, fitted, visible_to(db, caller, season).benches)
    )


def season_odd_trials(db: Session, caller: Caller, season: Season) -> list[OddTrialRead]:
    """Return the trials that do not fit the season; for a coach only of their own schools."""
    fitted = fitted_season(db, caller, season)
    if fitted is None or not fitted.odd_trials:
        return []
    teams = visible_to(db, caller, season).teams
    return odd_trials(caller, fitted, {team.id: team.name for team in teams.values()})


def pair_read(exact: Pair, fitted: Fitted, visible: VisibleComparison) -> PairRead:
    """Return the comparison of two visible builds with its sentence."""
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
    benches_of = {build_id: [bench_id] for build_id, bench_id in fitted.last_bench.items()}
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

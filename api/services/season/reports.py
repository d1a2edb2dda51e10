"""Reports: read once, calculate, shape. No conclusion is stored."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
from sqlmodel import Session, col, select

from analysis.numeric.groups import group_by
from analysis.season.estimates import Figure, probability_ahead
from analysis.season.summary import LEFT_OUT, TeamSeason, TeamSeasons, summarise_teams, why_left_out
from analysis.uncertainty import interval
from api.errors import NotFound
from api.messages import current_language, say
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.season.reports import (
    BenchOrder,
    BenchPlace,
    BestSeenRead,
    BuildFigure,
    ChangeRead,
    FigureRead,
    LeftOut,
    OrganisationReport,
    SeasonReport,
    SessionFigure,
    TeamReport,
    TrendRead,
)
from api.services.core import resources, scope
from api.services.core.cache import cache_of
from api.services.core.scope import Caller
from api.services.measurements.season_trials import SeasonTrials, season_trials
from api.services.publishing.published import view_of
from api.services.registry import season_choice
from api.services.season import comparisons
from api.services.season.cached_answers import season_answer
from api.services.season.fair_table import fair_table
from api.services.season.fit import Fitted, fitted_season
from api.services.season.names import SeasonNames, read_names
from api.services.season.trends import adjusted_powers, read_trend

#: Below it the order of two is too close to call.
SURE_ENOUGH = 0.80
#: A team and the figure of its newest build with a counted trial.
Current = tuple[str, Figure]


@dataclass(frozen=True, slots=True)
class _TrialCounts:
    """How many trials a team has stored, and how many are left out and why."""

    stored: int = 0
    left_out: Counter[str] = field(default_factory=Counter)
    latest: float | None = None

    @property
    def counted(self) -> int:
        return self.stored - self.left_out.total()


@dataclass(frozen=True, slots=True)
class _Facts:
    """How many trials of a team count, why others do not, and when the last was."""

    teams: dict[str, _TrialCounts]
    started_at: dict[str, float]
    #: When the newest counted trial of each build was run.
    latest_of_build: dict[str, float]
    seasons: TeamSeasons
    position: dict[str, int]

    def season(self, team_id: str) -> TeamSeason | None:
        at = self.position.get(team_id)
        return None if at is None else self.seasons[at]


@dataclass(frozen=True, slots=True)
class _Whole:
    """All of a season that a caller may see: what each part of its report is taken from."""

    teams: list[Team]
    names: SeasonNames
    facts: _Facts
    benches: list[BenchOrder]
    standing: comparisons.ComparableBuilds


def season_report(
    db: Session,
    caller: Caller,
    season_id: str,
    organisation_id: str | None = None,
    team_id: str | None = None,
) -> SeasonReport:
    """Return the season so far, or a part of it; calculated once for each revision of its facts."""
    season = resources.get_row(db, caller, Season, season_id)
    if organisation_id is not None:
        resources.get_row(db, caller, Organisation, organisation_id)
    if team_id is not None and (
        resources.get_row(db, caller, Team, team_id).season_id != season.id
    ):
        raise NotFound(say("report_refused.no_team_in_season", team_id=team_id))

    def make(db: Session, season: Season) -> SeasonReport:
        return _calculate(db, caller, season, organisation_id, team_id)

    return season_answer(db, caller, season, ("report", organisation_id, team_id), make)


def organisation_report(
    db: Session, caller: Caller, organisation_id: str, season_id: str | None, team_id: str | None
) -> SeasonReport:
    """Return one organisation's season: the named one, or the one meant of those it is part of."""
    row = resources.get_row(db, caller, Organisation, organisation_id)
    if season_id is None:
        teams = select(Team.season_id).where(col(Team.organisation_id) == row.id).distinct()
        among = list(db.scalars(teams))
        meant = season_choice.choose(db, caller, datetime.now(UTC), among=among).season
        season_id = meant.id if meant else None
    if season_id is None:
        raise NotFound(say("report_refused.no_season_yet", school=row.name))
    return season_report(db, caller, season_id, row.id, team_id)


def _calculate(
    db: Session, caller: Caller, season: Season, organisation_id: str | None, team_id: str | None
) -> SeasonReport:
    # Whole first: a bench's order is of all who were measured there, whichever are asked for.
    whole: _Whole = cache_of(db).get_or_make(
        ("whole", season.id, view_of(caller, season), current_language()),
        season.revision,
        lambda: _read(db, caller, season),
    )
    names, facts = whole.names, whole.facts
    teams = [
        team
        for team in whole.teams
        if organisation_id in (None, team.organisation_id) and team_id in (None, team.id)
    ]
    asked = {team.id for team in teams}
    fitted = fitted_season(db, caller, season)
    reports = [_team(team, facts, names, fitted) for team in teams]
    team_facts = [facts.teams[team_id] for team_id in asked if team_id in facts.teams]
    at_benches = {report.current.bench_id for report in reports if report.current}
    return SeasonReport(
        season_id=season.id,
        name=season.name,
        revision=season.revision,
        as_of=datetime.now(UTC),
        reference_wind_speed_m_s=season.reference_wind_speed_m_s,
        reference_air_density_kg_m3=season.reference_air_density_kg_m3,
        organisations=_by_organisation(reports, names),
        benches=[order for order in whole.benches if order.bench_id in at_benches],
        comparison=fair_table(whole.standing, asked, names.current),
        trials_stored=sum(each.stored for each in team_facts),
        trials=sum(each.counted for each in team_facts),
        sessions=_sessions(facts.seasons, asked),
        left_out=_left_out(sum((each.left_out for each in team_facts), Counter())),
    )


def _read(db: Session, caller: Caller, season: Season) -> _Whole:
    teams = _teams(db, caller, season.id)
    names = read_names(db, caller, season.id, teams)
    # A trial is its team's school's, so who sees the team sees the trial.
    facts = _facts(_of_teams(season_trials(db, season), names.teams))
    orders = _bench_orders(facts.seasons, names)
    return _Whole(teams, names, facts, orders, comparisons.comparable_builds(db, caller, season))


def _teams(db: Session, caller: Caller, season_id: str) -> list[Team]:
    teams = scope.visible(caller, Team).where(col(Team.season_id) == season_id)
    return list(db.scalars(teams.order_by(col(Team.name), col(Team.id))))


def _of_teams(every: SeasonTrials, teams: dict[str, str]) -> SeasonTrials:
    """Return the trials of some teams; a reference rotor's have no team and are left out."""
    of = group_by(every.trials["team_id"])
    is_theirs = np.array([label in teams for label in of.labels.tolist()], dtype=bool)
    return every.only(is_theirs[of.codes])


def _facts(whole: SeasonTrials) -> _Facts:
    trials = whole.trials
    teams, why = group_by(trials["team_id"]), group_by(why_left_out(trials, whole.results))
    counts = np.bincount(teams.codes * why.size + why.codes, minlength=teams.size * why.size)
    latest = teams.largest(trials["started_at"])
    by_team = {
        team_id: _TrialCounts(
            sum(row),
            Counter({code: n for code, n in zip(why.labels.tolist(), row, strict=True) if code}),
            float(moment),
        )
        for team_id, row, moment in zip(
            teams.labels.tolist(),
            counts.reshape(teams.size, why.size).tolist(),
            latest,
            strict=True,
        )
    }
    sessions = group_by(trials["session_id"])
    started = trials["started_at"][sessions.one_of_each()]
    seasons = summarise_teams(trials, whole.results)
    position = {team_id: at for at, team_id in enumerate(seasons.team_ids.tolist())}
    counted = why.labels[why.codes] == ""
    builds = group_by(trials["build_id"][counted])
    newest = builds.largest(np.asarray(trials["started_at"], dtype=np.float64)[counted])
    return _Facts(
        by_team,
        dict(zip(sessions.labels.tolist(), started.tolist(), strict=True)),
        dict(zip(builds.labels.tolist(), newest.tolist(), strict=True)),
        seasons,
        position,
    )


def _sessions(seasons: TeamSeasons, asked: set[str]) -> int:
    """Return in how many sessions some teams have a trial that counts."""
    order, ends = seasons.sessions.order, seasons.sessions.ends
    is_asked = np.array([each in asked for each in seasons.team_ids.tolist()], dtype=bool)
    of_team = np.repeat(is_asked, np.diff(ends, prepend=0))
    return len(set(seasons.sessions.figures.labels[order[of_team]].tolist()))


def _team(team: Team, facts: _Facts, names: SeasonNames, fitted: Fitted | None) -> TeamReport:
    team_facts, season = facts.teams.get(team.id, _TrialCounts()), facts.season(team.id)
    current = season and _build_figure(season.current, names, facts)
    registered = names.current.get(team.id)
    return TeamReport(
        team_id=team.id,
        name=team.name,
        organisation_id=team.organisation_id,
        entry_class=team.entry_class,
        current=current,
        reason=None if season else say("reason.no_record"),
        current_build_number=registered.number if registered else None,
        untested_build_number=names.untested(team.id, current.build_id) if current else None,
        best_seen=season and _best_seen(season, names),
        first=season and _session_figure(season.sessions[0], facts),
        latest=season and _session_figure(season.sessions[-1], facts),
        change=season and _change(season, names),
        change_reason=_why_no_change(season),
        trend=_trend(team.id, season.sessions if season else (), facts, fitted),
        trials=team_facts.counted,
        sessions=len(season.sessions) if season else 0,
        trials_stored=team_facts.stored,
        last_trial_at=_moment(team_facts.latest),
        left_out=_left_out(team_facts.left_out),
    )


def _trend(
    team_id: str, sessions: Sequence[Figure], facts: _Facts, fitted: Fitted | None
) -> TrendRead:
    moments = [datetime.fromtimestamp(facts.started_at[each.label], UTC) for each in sessions]
    return read_trend(moments, adjusted_powers(team_id, sessions, fitted))


def _figure(figure: Figure) -> dict[str, object]:
    return {name: getattr(figure, name) for name in FigureRead.model_fields}


def _build_figure(figure: Figure, names: SeasonNames, facts: _Facts) -> BuildFigure:
    build_facts = {
        "build_id": figure.label,
        "build_number": names.build_numbers[figure.label],
        "latest_at": _moment(facts.latest_of_build.get(figure.label)),
    }
    return BuildFigure.model_validate(_figure(figure) | build_facts)


def _session_figure(figure: Figure, facts: _Facts) -> SessionFigure:
    moment = _moment(facts.started_at[figure.label])
    return SessionFigure.model_validate(
        _figure(figure) | {"session_id": figure.label, "started_at": moment}
    )


def _best_seen(season: TeamSeason, names: SeasonNames) -> BestSeenRead:
    best = season.best_seen
    return BestSeenRead(
        normalised_power_w=best.normalised_power_w,
        u_total=best.u_total,
        interval_w=best.interval_w,
        trial_id=best.trial_id,
        build_id=best.build_id,
        build_number=names.build_numbers[best.build_id],
        of_trials=best.trials,
    )


def _change(season: TeamSeason, names: SeasonNames) -> ChangeRead | None:
    if season.change is None:
        return None
    return ChangeRead(
        change_pct=season.change.change_pct,
        interval_pct=season.change.interval_pct,
        from_build_number=names.build_numbers[season.first_build.label],
    )


def _why_no_change(season: TeamSeason | None) -> str | None:
    if season is None:
        return say("reason.no_record")
    return None if season.change else say("reason.one_build")


def _moment(seconds: float | None) -> datetime | None:
    return None if seconds is None else datetime.fromtimestamp(seconds, UTC)


def _left_out(counts: Counter[str]) -> list[LeftOut]:
    return [
        LeftOut(code=code, trials=counts[code], sentence=say(f"left_out.{code}"))
        for code in LEFT_OUT
        if counts[code]
    ]


def _by_organisation(reports: Iterable[TeamReport], names: SeasonNames) -> list[OrganisationReport]:
    by_owner: dict[str, list[TeamReport]] = defaultdict(list)
    for report in reports:
        by_owner[report.organisation_id].append(report)
    return sorted(
        (
            OrganisationReport(organisation_id=owner, name=names.organisations[owner], teams=teams)
            for owner, teams in by_owner.items()
        ),
        key=lambda each: each.name.casefold(),
    )


def _bench_orders(seasons: TeamSeasons, names: SeasonNames) -> list[BenchOrder]:
    """Return the order of teams within each bench; nothing is ordered across benches."""
    at_bench: dict[str, list[Current]] = defaultdict(list)
    for at, team_id in enumerate(seasons.team_ids.tolist()):
        figure = seasons.current(at)
        if figure.bench_id in names.benches:
            at_bench[str(figure.bench_id)].append((team_id, figure))
    orders = [_bench_order(bench_id, among, names) for bench_id, among in at_bench.items()]
    return sorted(orders, key=lambda order: order.name.casefold())


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

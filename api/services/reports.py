"""Reports: read once, calculate, shape. No conclusion is stored."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from sqlmodel import Session, col, select

from analysis.figures import Figure, probability_ahead
from analysis.season import LEFT_OUT, TeamSeason, summarise_teams, why_left_out
from analysis.trial_result import trial_results
from analysis.uncertainty import interval
from api.errors import NotFound
from api.models.benches import Bench
from api.models.builds import Build
from api.models.organisations import Organisation
from api.models.reports import (
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
from api.models.seasons import Season
from api.models.teams import Team
from api.models.trials import Trial
from api.models.turbines import Turbine
from api.services import comparisons, resources, scope
from api.services.cache import cache_of
from api.services.fair_table import fair_table
from api.services.frames import Array, Frame, read_frame
from api.services.scope import Caller
from api.services.season_fit import Fitted, fitted_season
from api.services.trends import adjusted_powers, read_trend

NO_TRIAL = "no record trial counts yet"
#: Below it the order of two is too close to call.
SURE_ENOUGH = 0.80
ONE_BUILD = "only one build has a record trial that counts"


@dataclass(frozen=True, slots=True)
class _Names:
    """What things of the season are called."""

    organisations: dict[str, str]
    teams: dict[str, str]
    benches: dict[str, tuple[str, str]]
    build_numbers: dict[str, int]
    turbine_of: dict[str, str]
    newest_numbers: dict[str, int]


@dataclass(frozen=True, slots=True)
class _Facts:
    """What is told of trials beside their summary."""

    team_ids: Array
    left_out: Array
    started_at: dict[str, float]
    latest: dict[str, float]


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
        raise NotFound(f"no team {team_id} in this season")
    key = (season.id, season.revision, caller.sees, organisation_id, team_id)
    kept: SeasonReport = cache_of(db).get_or_make(
        key, lambda: _calculate(db, caller, season, organisation_id, team_id)
    )
    return kept


def organisation_report(
    db: Session, caller: Caller, organisation_id: str, season_id: str | None, team_id: str | None
) -> SeasonReport:
    """Return one organisation's season, the newest it takes part in unless one is named."""
    row = resources.get_row(db, caller, Organisation, organisation_id)
    if season_id is None:
        newest = (
            select(Season.id)
            .join(Team, col(Team.season_id) == col(Season.id))
            .where(col(Team.organisation_id) == row.id)
            .order_by(col(Season.starts_on).desc(), col(Season.id).desc())
            .limit(1)
        )
        season_id = db.scalar(newest)
    if season_id is None:
        raise NotFound(f"{row.name} has no team in any season yet")
    return season_report(db, caller, season_id, row.id, team_id)


def _calculate(
    db: Session, caller: Caller, season: Season, organisation_id: str | None, team_id: str | None
) -> SeasonReport:
    everyone = _teams(db, caller, season.id)
    teams = [
        team
        for team in everyone
        if organisation_id in (None, team.organisation_id) and team_id in (None, team.id)
    ]
    names = _names(db, caller, season.id, everyone)
    season_frame = read_frame(db, col(Trial.season_id) == season.id, scope.may_see(caller, Trial))
    # Whole first: a bench's order is of all who were measured there, whoever is asked for.
    whole = _of_teams(season_frame, set(names.teams))
    results = trial_results(whole.trials, whole.runs)
    summaries = {each.team_id: each for each in summarise_teams(whole.trials, results)}
    facts = _facts(whole, why_left_out(whole.trials, results))
    asked = np.isin(whole.trials["team_id"].astype(str), [team.id for team in teams])
    left_out = facts.left_out[asked]
    counted = {str(each) for each in whole.trials["session_id"][asked][left_out == ""]}
    fitted = fitted_season(db, season)
    reports = [_team(team, summaries.get(team.id), facts, names, fitted) for team in teams]
    orders = _bench_orders(summaries.values(), names)
    at_benches = {report.current.bench_id for report in reports if report.current}
    return SeasonReport(
        season_id=season.id,
        name=season.name,
        revision=season.revision,
        as_of=datetime.now(UTC),
        reference_wind_speed_m_s=season.reference_wind_speed_m_s,
        reference_air_density_kg_m3=season.reference_air_density_kg_m3,
        organisations=_by_organisation(reports, names),
        benches=[order for order in orders if order.bench_id in at_benches],
        comparison=fair_table(
            comparisons.compare_season(db, caller, season.id), {team.id for team in teams}
        ),
        trials_stored=len(left_out),
        trials=int(np.sum(left_out == "")),
        sessions=len(counted),
        left_out=_left_out(left_out),
    )


def _teams(db: Session, caller: Caller, season_id: str) -> list[Team]:
    teams = scope.visible(caller, Team).where(col(Team.season_id) == season_id)
    return list(db.scalars(teams.order_by(col(Team.name), col(Team.id))))


def _of_teams(frame: Frame, team_ids: set[str]) -> Frame:
    """Return the trials of some teams; a reference rotor's have no team and are left out."""
    kept = np.isin(frame.trials["team_id"].astype(str), list(team_ids))
    new_position = np.cumsum(kept) - 1
    run_kept = kept[frame.runs["trial"]] if len(kept) else np.zeros(0, dtype=bool)
    runs = {name: column[run_kept] for name, column in frame.runs.items()}
    runs["trial"] = new_position[runs["trial"]] if len(kept) else runs["trial"]
    return Frame({name: column[kept] for name, column in frame.trials.items()}, runs)


def _facts(frame: Frame, left_out: Array) -> _Facts:
    trials = frame.trials
    started = dict(zip(trials["session_id"], trials["started_at"], strict=True))
    latest: dict[str, float] = {}
    for team_id, moment in zip(trials["team_id"], trials["started_at"], strict=True):
        latest[team_id] = max(moment, latest.get(team_id, moment))
    return _Facts(trials["team_id"], left_out, started, latest)


def _names(db: Session, caller: Caller, season_id: str, teams: list[Team]) -> _Names:
    organisations = db.scalars(scope.visible(caller, Organisation))
    benches = db.scalars(scope.visible(caller, Bench))
    numbered = db.execute(
        select(Build.id, Build.number, Build.turbine_id)
        .join(Turbine, col(Turbine.id) == col(Build.turbine_id))
        .join(Team, col(Team.id) == col(Turbine.team_id))
        .where(col(Team.season_id) == season_id)
    )
    numbers: dict[str, int] = {}
    turbine_of: dict[str, str] = {}
    newest: dict[str, int] = defaultdict(int)
    for build_id, number, turbine_id in numbered:
        numbers[build_id], turbine_of[build_id] = number, turbine_id
        newest[turbine_id] = max(newest[turbine_id], number)
    return _Names(
        {row.id: row.name for row in organisations},
        {team.id: team.name for team in teams},
        {row.id: (row.name, row.organisation_id) for row in benches},
        numbers,
        turbine_of,
        newest,
    )


def _team(
    team: Team, season: TeamSeason | None, facts: _Facts, names: _Names, fitted: Fitted | None
) -> TeamReport:
    mine = facts.left_out[facts.team_ids == team.id]
    current = season and _build_figure(season.current, names)
    newest = names.newest_numbers[names.turbine_of[current.build_id]] if current else 0
    return TeamReport(
        team_id=team.id,
        name=team.name,
        organisation_id=team.organisation_id,
        entry_class=team.entry_class,
        current=current,
        reason=None if season else NO_TRIAL,
        untested_build_number=newest if current and newest > current.build_number else None,
        best_seen=season and _best_seen(season, names),
        first=season and _session_figure(season.sessions[0], facts),
        latest=season and _session_figure(season.sessions[-1], facts),
        change=season and _change(season, names),
        change_reason=None if season and season.change else ONE_BUILD if season else NO_TRIAL,
        trend=_trend(team.id, season.sessions if season else (), facts, fitted),
        trials=int(np.sum(mine == "")),
        sessions=len(season.sessions) if season else 0,
        trials_stored=len(mine),
        last_trial_at=_moment(facts.latest.get(team.id)),
        left_out=_left_out(mine),
    )


def _trend(
    team_id: str, sessions: Sequence[Figure], facts: _Facts, fitted: Fitted | None
) -> TrendRead:
    moments = [datetime.fromtimestamp(facts.started_at[each.label], UTC) for each in sessions]
    return read_trend(moments, adjusted_powers(team_id, sessions, fitted))


def _figure(figure: Figure) -> dict[str, object]:
    return {name: getattr(figure, name) for name in FigureRead.model_fields}


def _build_figure(figure: Figure, names: _Names) -> BuildFigure:
    number = names.build_numbers[figure.label]
    return BuildFigure.model_validate(
        _figure(figure) | {"build_id": figure.label, "build_number": number}
    )


def _session_figure(figure: Figure, facts: _Facts) -> SessionFigure:
    moment = _moment(facts.started_at[figure.label])
    return SessionFigure.model_validate(
        _figure(figure) | {"session_id": figure.label, "started_at": moment}
    )


def _best_seen(season: TeamSeason, names: _Names) -> BestSeenRead:
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


def _change(season: TeamSeason, names: _Names) -> ChangeRead | None:
    if season.change is None:
        return None
    return ChangeRead(
        change_pct=season.change.change_pct,
        interval_pct=season.change.interval_pct,
        from_build_number=names.build_numbers[season.first_build.label],
    )


def _moment(seconds: float | None) -> datetime | None:
    return None if seconds is None else datetime.fromtimestamp(seconds, UTC)


def _left_out(codes: Array) -> list[LeftOut]:
    counts = Counter(str(code) for code in codes if code)
    return [
        LeftOut(code=code, trials=counts[code], sentence=words)
        for code, words in LEFT_OUT.items()
        if counts[code]
    ]


def _by_organisation(reports: Iterable[TeamReport], names: _Names) -> list[OrganisationReport]:
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


def _bench_orders(seasons: Iterable[TeamSeason], names: _Names) -> list[BenchOrder]:
    """Return the order of teams within each bench; nothing is ordered across benches."""
    at_bench: dict[str, list[TeamSeason]] = defaultdict(list)
    for season in seasons:
        if season.current.bench_id in names.benches:
            at_bench[str(season.current.bench_id)].append(season)
    orders = [_bench_order(bench_id, among, names) for bench_id, among in at_bench.items()]
    return sorted(orders, key=lambda order: order.name.casefold())


def _bench_order(bench_id: str, among: list[TeamSeason], names: _Names) -> BenchOrder:
    strongest = sorted(among, key=lambda season: -season.current.normalised_power_w)
    name, owner = names.benches[bench_id]
    nexts: list[TeamSeason | None] = [*strongest[1:], None]
    return BenchOrder(
        bench_id=bench_id,
        name=name,
        organisation_id=owner,
        order=[
            _bench_place(place, season, after, names)
            for place, (season, after) in enumerate(zip(strongest, nexts, strict=True), start=1)
        ],
    )


def _bench_place(
    place: int, season: TeamSeason, after: TeamSeason | None, names: _Names
) -> BenchPlace:
    figure = season.current
    ahead = None if after is None else probability_ahead(figure, after.current)
    return BenchPlace(
        place=place,
        team_id=season.team_id,
        name=names.teams[season.team_id],
        normalised_power_w=figure.normalised_power_w,
        u_own=figure.u_own,
        interval_within_bench_w=interval(figure.normalised_power_w, figure.u_own),
        trials=figure.trials,
        sessions=figure.sessions,
        probability_ahead_of_next=ahead,
        too_close_to_next=ahead is not None and ahead < SURE_ENOUGH,
    )

"""Compare a few chosen teams: every pair of them, and the season of those that the caller reads."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from sqlmodel import Session

from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.season.comparison import FairBuild, PairRead
from api.models.season.progress import TeamProgress
from api.services.core import resources
from api.services.core.scope import Caller
from api.services.events import runs
from api.services.registry import teams
from api.services.season import progress, ranking

MOST = 6


@dataclass(frozen=True, slots=True)
class ChosenTeam:
    """One team: its place on the season's scale, and its own season if the caller may read it.

    `series` is its number in the season, which gives it the same colour and shape everywhere.
    """

    build: FairBuild
    school: teams.School
    series: int
    progress: TeamProgress | None = None
    at_events: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class ChosenTeams:
    """The chosen teams, strongest first, all pairs of them, and how many were left out."""

    season: Season
    teams: Sequence[ChosenTeam]
    pairs: Sequence[PairRead]
    left_out: int
    #: Teams that can be added.
    others: Sequence[FairBuild]


def compare_chosen(
    db: Session, caller: Caller, season_id: str, team_ids: Sequence[str]
) -> ChosenTeams:
    """Return the first six of these teams that have a tested build and that the caller may see.

    Own teams come with their progress; other schools show what they share with everybody.
    """
    season = resources.get_row(db, caller, Season, season_id)
    ranked = ranking.comparable_builds(db, caller, season)
    if ranked is None:
        return ChosenTeams(season, [], [], 0, [])
    visible = {ranked.team_of(each): ranked.read(each) for group in ranked.groups for each in group}
    wanted = [team_id for team_id in dict.fromkeys(team_ids) if team_id in visible]
    chosen = set(wanted[:MOST])
    builds = [build for team_id, build in visible.items() if team_id in chosen]
    schools = teams.schools_of(db, season_id, chosen)
    numbers = teams.numbers_of(db, season_id)
    shown = [_team(db, caller, build, schools, numbers) for build in builds]
    others = [build for build in visible.values() if build.team_id not in chosen]
    others.sort(key=lambda build: build.team_name.casefold())
    return ChosenTeams(season, shown, _pairs(ranked, builds), len(wanted) - len(chosen), others)


def _team(
    db: Session,
    caller: Caller,
    build: FairBuild,
    schools: Mapping[str, teams.School],
    numbers: Mapping[str, int],
) -> ChosenTeam:
    team_id, school = build.team_id, schools[build.team_id]
    if not caller.reaches(school.id):
        return ChosenTeam(build, school, numbers[team_id])
    team = resources.get_row(db, caller, Team, team_id)
    return ChosenTeam(
        build,
        school,
        numbers[team_id],
        progress.team_progress(db, caller, team_id),
        [result.sentence for result in runs.results_of_team(db, caller, team)],
    )


def _pairs(ranked: ranking.ComparableBuilds, builds: Sequence[FairBuild]) -> list[PairRead]:
    """Return the comparison of each pair, the stronger first."""
    pairs = [(a.build_id, b.build_id) for a, b in combinations(builds, 2)]
    # One pair at a time, since the answer has one for each first build.
    compared = [ranked.pairs([pair]) for pair in pairs]
    return [pair for answer in compared for pair in answer.values()]

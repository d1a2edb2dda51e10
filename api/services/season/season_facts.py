"""Count and summarise each team's trials once for each revision; all reports share that."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeVar

import numpy as np
from sqlmodel import Session

from analysis.numeric.groups import are_among, group_by, pair_up
from analysis.season.estimates import Figure
from analysis.season.summary import TeamSeason, TeamSeasons, summarise_teams, why_left_out
from api.models.registry.seasons import Season
from api.services.core.cache import cache_of
from api.services.measurements.frames import Array
from api.services.measurements.season_trials import SeasonTrials, changed_benches, season_trials

Value = TypeVar("Value")


@dataclass(frozen=True, slots=True)
class TrialCounts:
    """The number of stored trials of a team, and of those left out by reason."""

    stored: int = 0
    left_out: Counter[str] = field(default_factory=Counter)
    latest: float | None = None

    @property
    def counted(self) -> int:
        """Return the number of counted trials."""
        return self.stored - self.left_out.total()


@dataclass(frozen=True, slots=True)
class SeasonFacts:
    """The counts, figures and times behind the reports of all teams.

    Each team's part depends on its own trials only, so that a change leaves those of others as they
    are. What is known of a session or build without any trial left is never asked for.
    """

    teams: dict[str, TrialCounts]
    started_at: dict[str, float]
    #: When the newest counted trial of each build was run.
    latest_of_build: dict[str, float]
    #: The newest build of each team with a counted trial.
    current_builds: dict[str, str]
    #: Where the summary of each team with a counted trial is: among which ones, and its place.
    summaries: dict[str, tuple[TeamSeasons, int]]
    #: The teams with trials at each bench.
    teams_at: dict[str, frozenset[str]]

    def season(self, team_id: str) -> TeamSeason | None:
        """Return the summary of a team's counted trials, or None if none counts."""
        found = self.summaries.get(team_id)
        return None if found is None else found[0][found[1]]

    def current(self, team_id: str) -> Figure | None:
        """Return the figure of a team's current build, or None if no trial counts."""
        found = self.summaries.get(team_id)
        return None if found is None else found[0].current(found[1])

    def count_sessions(self, team_ids: Iterable[str]) -> int:
        """Return the number of sessions with a counted trial of the teams."""
        found = (self.summaries[each] for each in team_ids if each in self.summaries)
        return len({each for seasons, at in found for each in seasons.session_ids(at)})

    def renewed(self, now: SeasonTrials, benches: set[str]) -> "SeasonFacts":
        """Return the facts of trials that differ only at some benches."""
        there = set(now.trials["team_id"][are_among(now.trials["bench_id"], benches)].tolist())
        affected = there.union(*(self.teams_at.get(bench, ()) for bench in benches))
        part = facts_of(now.only(are_among(now.trials["team_id"], affected)))
        at_benches = {bench: part.teams_at.get(bench, frozenset[str]()) for bench in benches}

        def others(by_team: dict[str, Value]) -> dict[str, Value]:
            return {team: value for team, value in by_team.items() if team not in affected}

        return SeasonFacts(
            others(self.teams) | part.teams,
            self.started_at | part.started_at,
            self.latest_of_build | part.latest_of_build,
            others(self.current_builds) | part.current_builds,
            others(self.summaries) | part.summaries,
            self.teams_at | at_benches,
        )


def season_facts(db: Session, season: Season) -> SeasonFacts:
    """Return the facts of all teams; of a large season only those of changed benches are new."""
    cache, subject = cache_of(db), ("facts", season.id)

    def make() -> SeasonFacts:
        before, now = cache.newest(subject, 0), season_trials(db, season)
        benches = before and changed_benches(db, season, before[0], len(now))
        if before is None or benches is None:
            return facts_of(now)
        facts: SeasonFacts = before[1]
        return facts.renewed(now, benches)

    facts: SeasonFacts = cache.get_or_make(subject, season.revision, make)
    return facts


def facts_of(season: SeasonTrials) -> SeasonFacts:
    """Return the facts of all teams with trials; those of reference rotors belong to none."""
    trials = season.trials
    sessions = group_by(trials["session_id"])
    started = trials["started_at"][sessions.one_of_each()]
    why = why_left_out(trials, season.results)
    counted = why == ""
    builds = group_by(trials["build_id"][counted])
    newest = builds.largest(np.asarray(trials["started_at"], dtype=np.float64)[counted])
    seasons = summarise_teams(trials, season.results)
    team_ids = seasons.team_ids.tolist()
    summaries = {team: (seasons, at) for at, team in enumerate(team_ids) if team}
    current = zip(team_ids, seasons.current_build_ids.tolist(), strict=True)
    return SeasonFacts(
        _counts(season, why),
        dict(zip(sessions.labels.tolist(), started.tolist(), strict=True)),
        dict(zip(builds.labels.tolist(), newest.tolist(), strict=True)),
        {team: build for team, build in current if team},
        summaries,
        _teams_at(season),
    )


def _counts(season: SeasonTrials, why_not: Array) -> dict[str, TrialCounts]:
    """Return the number of trials of each team, given why each does not count."""
    teams, why = group_by(season.trials["team_id"]), group_by(why_not)
    counts = np.bincount(teams.codes * why.size + why.codes, minlength=teams.size * why.size)
    latest = teams.largest(season.trials["started_at"])
    reasons, by_team = why.labels.tolist(), counts.reshape(teams.size, why.size).tolist()
    rows = zip(teams.labels.tolist(), by_team, latest.tolist(), strict=True)
    return {
        team: TrialCounts(
            sum(row), Counter({code: n for code, n in zip(reasons, row, strict=True) if code}), last
        )
        for team, row, last in rows
        if team
    }


def _teams_at(season: SeasonTrials) -> dict[str, frozenset[str]]:
    teams, benches = (group_by(season.trials[name]) for name in ("team_id", "bench_id"))
    pairs, there = pair_up(benches, teams), defaultdict(set)
    labels = benches.labels.tolist(), teams.labels.tolist()
    for bench, team in zip(pairs.one.tolist(), pairs.other.tolist(), strict=True):
        there[labels[0][bench]].add(labels[1][team])
    return {bench: frozenset(each) for bench, each in there.items()}

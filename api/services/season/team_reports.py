"""Make a team's part of a season report: figures, trend, changes and trials left out."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np

from analysis.numeric.groups import group_by
from analysis.season.estimates import Figure
from analysis.season.summary import LEFT_OUT, TeamSeason, TeamSeasons, summarise_teams, why_left_out
from api.messages import say
from api.models.registry.teams import Team
from api.models.season.reports import (
    BestSeenRead,
    BuildFigure,
    ChangeRead,
    FigureRead,
    LeftOut,
    SessionFigure,
    TeamReport,
    TrendRead,
)
from api.services.measurements.season_trials import SeasonTrials
from api.services.season.fit import Fitted
from api.services.season.names import SeasonNames
from api.services.season.trends import adjusted_powers, read_trend


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
class Facts:
    """The counts, figures and times behind the reports of all teams."""

    teams: dict[str, TrialCounts]
    started_at: dict[str, float]
    #: When the newest counted trial of each build was run.
    latest_of_build: dict[str, float]
    seasons: TeamSeasons
    position: dict[str, int]

    def season(self, team_id: str) -> TeamSeason | None:
        """Return the summary of a team's counted trials, or None if none counts."""
        at = self.position.get(team_id)
        return None if at is None else self.seasons[at]


def facts_of(season: SeasonTrials) -> Facts:
    """Return the facts for the reports of all teams."""
    trials = season.trials
    teams, why = group_by(trials["team_id"]), group_by(why_left_out(trials, season.results))
    counts = np.bincount(teams.codes * why.size + why.codes, minlength=teams.size * why.size)
    latest = teams.largest(trials["started_at"])
    by_team = {
        team_id: TrialCounts(
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
    seasons = summarise_teams(trials, season.results)
    position = {team_id: at for at, team_id in enumerate(seasons.team_ids.tolist())}
    counted = why.labels[why.codes] == ""
    builds = group_by(trials["build_id"][counted])
    newest = builds.largest(np.asarray(trials["started_at"], dtype=np.float64)[counted])
    return Facts(
        by_team,
        dict(zip(sessions.labels.tolist(), started.tolist(), strict=True)),
        dict(zip(builds.labels.tolist(), newest.tolist(), strict=True)),
        seasons,
        position,
    )


def count_sessions(seasons: TeamSeasons, asked: set[str]) -> int:
    """Return the number of sessions with a counted trial of the teams."""
    order, ends = seasons.sessions.order, seasons.sessions.ends
    is_asked = np.array([each in asked for each in seasons.team_ids.tolist()], dtype=bool)
    of_team = np.repeat(is_asked, np.diff(ends, prepend=0))
    return len(set(seasons.sessions.figures.labels[order[of_team]].tolist()))


def team_report(team: Team, facts: Facts, names: SeasonNames, fitted: Fitted | None) -> TeamReport:
    """Return a team's part of a season report."""
    team_facts, season = facts.teams.get(team.id, TrialCounts()), facts.season(team.id)
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
        left_out=left_out(team_facts.left_out),
    )


def _trend(
    team_id: str, sessions: Sequence[Figure], facts: Facts, fitted: Fitted | None
) -> TrendRead:
    moments = [datetime.fromtimestamp(facts.started_at[each.label], UTC) for each in sessions]
    return read_trend(moments, adjusted_powers(team_id, sessions, fitted))


def _figure(figure: Figure) -> dict[str, object]:
    return {name: getattr(figure, name) for name in FigureRead.model_fields}


def _build_figure(figure: Figure, names: SeasonNames, facts: Facts) -> BuildFigure:
    build_facts = {
        "build_id": figure.label,
        "build_number": names.build_numbers[figure.label],
        "latest_at": _moment(facts.latest_of_build.get(figure.label)),
    }
    return BuildFigure.model_validate(_figure(figure) | build_facts)


def _session_figure(figure: Figure, facts: Facts) -> SessionFigure:
    started_at = _moment(facts.started_at[figure.label])
    return SessionFigure.model_validate(
        _figure(figure) | {"session_id": figure.label, "started_at": started_at}
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
    """Return a moment given in seconds, or None."""
    return None if seconds is None else datetime.fromtimestamp(seconds, UTC)


def left_out(counts: Counter[str]) -> list[LeftOut]:
    """Return the reasons why trials do not count, with the number for each."""
    return [
        LeftOut(code=code, trials=counts[code], sentence=say(f"left_out.{code}"))
        for code in LEFT_OUT
        if counts[code]
    ]

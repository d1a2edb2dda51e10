"""Make a team's part of a season report: figures, trend, changes and trials left out."""

from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime

from analysis.season.estimates import Figure
from analysis.season.summary import LEFT_OUT, TeamSeason
from api.messages import say
from api.models.registry.teams import Team
from api.models.season.reports import (
    BestSeenRead,
    BuildFigure,
    FigureRead,
    GainRead,
    LeftOut,
    SessionFigure,
    TeamReport,
    TrendRead,
)
from api.services.season.fit import Fitted
from api.services.season.names import SeasonNames
from api.services.season.season_facts import SeasonFacts, TrialCounts
from api.services.season.trends import adjusted_powers, read_trend


def team_report(
    team: Team, facts: SeasonFacts, names: SeasonNames, fitted: Fitted | None
) -> TeamReport:
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
    team_id: str, sessions: Sequence[Figure], facts: SeasonFacts, fitted: Fitted | None
) -> TrendRead:
    moments = [datetime.fromtimestamp(facts.started_at[each.label], UTC) for each in sessions]
    return read_trend(moments, adjusted_powers(team_id, sessions, fitted))


def _figure(figure: Figure) -> dict[str, object]:
    return {name: getattr(figure, name) for name in FigureRead.model_fields}


def _build_figure(figure: Figure, names: SeasonNames, facts: SeasonFacts) -> BuildFigure:
    build_facts = {
        "build_id": figure.label,
        "build_number": names.build_numbers[figure.label],
        "latest_at": _moment(facts.latest_of_build.get(figure.label)),
    }
    return BuildFigure.model_validate(_figure(figure) | build_facts)


def _session_figure(figure: Figure, facts: SeasonFacts) -> SessionFigure:
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


def _change(season: TeamSeason, names: SeasonNames) -> GainRead | None:
    if season.change is None:
        return None
    return GainRead(
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

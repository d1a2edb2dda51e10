"""Calculate season reports from one read of the trials. No conclusion is stored."""

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime

import numpy as np
from sqlmodel import Session, col, select

from analysis.numeric.groups import group_by
from api.errors import NotFound
from api.messages import current_language, say
from api.models.registry.organisations import Organisation
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.season.quality import DriftRead
from api.models.season.reports import (
    OrganisationReport,
    SeasonReport,
    TeamReport,
)
from api.services.core import resources, scope
from api.services.core.cache import cache_of
from api.services.core.changes import facts_revision
from api.services.core.scope import Caller
from api.services.core.sizes import COUNTED_ELSEWHERE
from api.services.measurements.season_trials import SeasonTrials, season_trials
from api.services.publishing.published import view_of
from api.services.registry import season_choice
from api.services.season.bench_orders import bench_orders
from api.services.season.cached_answers import renew, season_answer
from api.services.season.drift_words import read_drift
from api.services.season.fair_table import fair_table
from api.services.season.fit import Fitted, fitted_season
from api.services.season.names import SeasonNames, read_names
from api.services.season.ranking import comparable_builds
from api.services.season.season_facts import SeasonFacts, facts_of, season_facts
from api.services.season.team_reports import left_out, team_report


@dataclass(frozen=True, slots=True)
class _SeasonView:
    """The caller's own part of a season: what all reports of it share."""

    teams: list[Team]
    names: SeasonNames
    facts: SeasonFacts = field(metadata=COUNTED_ELSEWHERE)


def season_report(
    db: Session,
    caller: Caller,
    season_id: str,
    organisation_id: str | None = None,
    team_id: str | None = None,
) -> SeasonReport:
    """Return the report of the season so far, or of a part of it, cached for each revision."""
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
    """Return one organisation's season report: of the given season, else of the current one."""
    row = resources.get_row(db, caller, Organisation, organisation_id)
    if season_id is None:
        teams = select(Team.season_id).where(col(Team.organisation_id) == row.id).distinct()
        among = list(db.scalars(teams))
        chosen = season_choice.choose(db, caller, datetime.now(UTC), among=among).season
        season_id = chosen.id if chosen else None
    if season_id is None:
        raise NotFound(say("report_refused.no_season_yet", school=row.name))
    return season_report(db, caller, season_id, row.id, team_id)


def _calculate(
    db: Session, caller: Caller, season: Season, organisation_id: str | None, team_id: str | None
) -> SeasonReport:
    # Read all teams first: a bench's order has all its builds, even if the report has one team.
    view = _season_view(db, caller, season)
    names, facts = view.names, view.facts
    teams = [
        team
        for team in view.teams
        if organisation_id in (None, team.organisation_id) and team_id in (None, team.id)
    ]
    asked = {team.id for team in teams}
    fitted = fitted_season(db, caller, season)
    reports = [team_report(team, facts, names, fitted) for team in teams]
    team_facts = [facts.teams[team_id] for team_id in asked if team_id in facts.teams]
    at_benches = {report.current.bench_id or "" for report in reports if report.current}
    return SeasonReport(
        season_id=season.id,
        name=season.name,
        revision=season.revision,
        as_of=datetime.now(UTC),
        reference_wind_speed_m_s=season.reference_wind_speed_m_s,
        reference_air_density_kg_m3=season.reference_air_density_kg_m3,
        organisations=_by_organisation(reports, names),
        benches=bench_orders(at_benches, facts, names),
        comparison=fair_table(comparable_builds(db, caller, season), asked, names.current),
        drift=_certain_drift(fitted),
        trials_stored=sum(each.stored for each in team_facts),
        trials=sum(each.counted for each in team_facts),
        sessions=facts.count_sessions(asked),
        left_out=left_out(sum((each.left_out for each in team_facts), Counter())),
    )


def _certain_drift(fitted: Fitted | None) -> DriftRead | None:
    """Return the reference rotor's drift if powers were corrected for it."""
    drift = fitted and read_drift(fitted)
    return drift if drift and drift.is_certain else None


def _season_view(db: Session, caller: Caller, season: Season) -> _SeasonView:
    """Return what all reports of a caller's view share."""
    subject = ("season view", season.id, view_of(caller, season), current_language())

    def read(db: Session, season: Season) -> _SeasonView:
        return _read(db, caller, season)

    view: _SeasonView = cache_of(db).get_or_make(
        subject, season.revision, lambda: renew(db, caller, season, subject, read, is_of_own=True)
    )
    return view


def _read(db: Session, caller: Caller, season: Season) -> _SeasonView:
    if caller.reaches_all:
        subject, revision = ("named teams", season.id), facts_revision(db, season)
        teams, names = cache_of(db).get_or_make(
            subject, revision, lambda: _named_teams(db, caller, season)
        )
        return _SeasonView(teams, names, season_facts(db, season))
    teams, names = _named_teams(db, caller, season)
    # A trial belongs to its team's school, so a caller who sees the team sees the trial.
    facts = facts_of(_of_teams(season_trials(db, season), names.teams))
    return _SeasonView(teams, names, facts)


def _named_teams(db: Session, caller: Caller, season: Season) -> tuple[list[Team], SeasonNames]:
    teams = _teams(db, caller, season.id)
    return teams, read_names(db, caller, season, teams)


def _teams(db: Session, caller: Caller, season_id: str) -> list[Team]:
    teams = scope.visible(caller, Team).where(col(Team.season_id) == season_id)
    return list(db.scalars(teams.order_by(col(Team.name), col(Team.id))))


def _of_teams(every: SeasonTrials, teams: dict[str, str]) -> SeasonTrials:
    """Return the trials of teams, without those of reference rotors."""
    of = group_by(every.trials["team_id"])
    is_theirs = np.array([label in teams for label in of.labels.tolist()], dtype=bool)
    return every.only(is_theirs[of.codes])


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

"""Decide which build of a team is current: the newest registered one. All rooms use this module.

A figure may belong to an older build while the newest has no counted trial; where a figure is
shown, `words_of_build` names its build and date.
"""

from datetime import datetime
from typing import NamedTuple

from sqlalchemy import ColumnElement
from sqlmodel import Session, col, select

from api.messages import say
from api.messages.days import day
from api.models.registry.builds import Build
from api.models.registry.teams import Team
from api.models.registry.turbines import Turbine


class CurrentBuild(NamedTuple):
    """The newest registered build of a team."""

    build_id: str
    number: int


def current_builds(
    db: Session, season_id: str, *only: ColumnElement[bool]
) -> dict[str, CurrentBuild]:
    """Return the current build of each team of a season that has one, by team id.

    `only` are conditions on the teams. If a team has several turbines, it is the newest build of
    the turbine that was built last.
    """
    rows = db.execute(
        select(Team.id, Turbine.id, Build.id, Build.number)
        .join(Turbine, col(Turbine.team_id) == col(Team.id))
        .join(Build, col(Build.turbine_id) == col(Turbine.id))
        .where(col(Team.season_id) == season_id, *only)
        .order_by(col(Turbine.id), col(Build.number))
    )
    newest: dict[tuple[str, str], CurrentBuild] = {}
    for team_id, turbine_id, build_id, number in rows:
        newest[team_id, turbine_id] = CurrentBuild(build_id, number)
    current: dict[str, CurrentBuild] = {}
    for (team_id, _), build in newest.items():
        current[team_id] = max(current.get(team_id, build), build)
    return current


def words_of_build(number: int, latest_at: datetime | None, current_number: int | None) -> str:
    """Return words for the build of a figure, and whether a newer one has no counted trial yet.

    >>> words_of_build(1, datetime(2026, 2, 10), 6)
    'build 1, 10 February 2026; build 6 has no counted trial yet'
    >>> words_of_build(6, None, 6)
    'build 6'
    """
    if current_number is None or current_number == number:
        return say("report_build.named", number=number)
    if latest_at is None:
        return say("report_build.older", number=number, current=current_number)
    return say("report_build.older_of", number=number, day=day(latest_at), current=current_number)

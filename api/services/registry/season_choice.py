"""Choose the season to use if a request names none.

It is the season that is running today, in its own time zone. If several or none are running, it is
the one with the newest trial: the questions, corrections and reports of a season go on for weeks
after its last day, and an empty season that begins later must not hide them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from api.errors import NotFound
from api.messages import say
from api.models.measurements.flags import Flag
from api.models.registry.seasons import CurrentSeason, Season
from api.models.trials.trials import Trial
from api.services.core import resources
from api.services.core.scope import Caller, may_see
from api.services.measurements import flags

Reason = Literal["running", "latest_trial", "coming", "ended"]


@dataclass(frozen=True, slots=True)
class Choice:
    """The chosen season and why; `acting` has it and the other seasons that need attention."""

    season: Season | None
    reason: Reason
    acting: tuple[Season, ...]


def choose(
    db: Session, caller: Caller, now: datetime, named: str = "", among: Sequence[str] | None = None
) -> Choice:
    """Return the season to use: the one with the id `named` if it exists.

    `among` has the ids of the seasons to choose from; None means all.
    """
    every = list(db.scalars(select(Season).order_by(col(Season.starts_on), col(Season.id))))
    seasons = [each for each in every if among is None or each.id in among]
    season, reason = _chosen(db, caller, seasons, now)
    season = next((each for each in seasons if each.id == named), season)
    others = [each for each in seasons if each is not season and
              (_runs(each, now) or _has_questions(db, caller, each))]  # fmt: skip
    return Choice(season, reason, tuple([season, *others] if season else ()))


def _chosen(
    db: Session, caller: Caller, seasons: Sequence[Season], now: datetime
) -> tuple[Season | None, Reason]:
    running = [each for each in seasons if _runs(each, now)]
    if len(running) == 1:
        return running[0], "running"
    tested = {each.id: _newest_trial(db, caller, each) for each in running or seasons}
    latest = max(running or seasons, key=lambda each: tested[each.id], default=None)
    if latest is not None and tested[latest.id]:
        return latest, "running" if running else "latest_trial"
    if running:
        return running[-1], "running"
    coming = [each for each in seasons if each.starts_on > today_of(each, now)]
    return (coming[0], "coming") if coming else (seasons[-1] if seasons else None, "ended")


def today_of(season: Season, now: datetime) -> date:
    """Return the day in the time zone of a season."""
    return now.astimezone(ZoneInfo(season.timezone)).date()


def is_running(season: Season | None, now: datetime) -> bool:
    """Tell whether the days of a season contain today."""
    return season is not None and _runs(season, now)


def _runs(season: Season, now: datetime) -> bool:
    return season.starts_on <= today_of(season, now) <= season.ends_on


def _newest_trial(db: Session, caller: Caller, season: Season) -> str:
    """Return the id of the newest trial of a season; ids sort by time."""
    newest = select(col(Trial.id)).where(may_see(caller, Trial), col(Trial.season_id) == season.id)
    return db.scalar(newest.order_by(col(Trial.id).desc()).limit(1)) or ""


def _has_questions(db: Session, caller: Caller, season: Season) -> bool:
    asked = select(col(Flag.id)).where(
        may_see(caller, Flag),
        col(Flag.season_id) == season.id,
        col(Flag.state) == flags.OPEN,
        col(Flag.severity) == "hold",
    )
    return db.scalar(asked.limit(1)) is not None


def current(db: Session, caller: Caller, now: datetime) -> CurrentSeason:
    """Return the season to use if none is named, with the reason."""
    choice = choose(db, caller, now)
    if choice.season is None:
        raise NotFound(say("refused.no_season_yet"))
    sentence = say(f"chosen.{choice.reason}", name=choice.season.name)
    also = [each.id for each in choice.acting[1:]]
    choice_facts = {"chosen_by": choice.reason, "sentence": sentence, "also_acting": also}
    return resources.read(CurrentSeason, choice.season, **choice_facts)

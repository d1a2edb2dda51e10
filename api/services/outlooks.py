"""What an event may bring, by what was known the day before; and how that was, the day after."""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
from sqlmodel import Session

from analysis import outlook as drawing
from analysis.outlook import Entrants, Outlook, foresee
from analysis.standing import AHEAD_FROM, PROBABLY_FROM
from api.models.events import Event
from api.models.outlook import EventOutlook, PairOutlook, TeamOutlook
from api.models.seasons import Season
from api.services import comparisons, resources, wording
from api.services.cache import cache_of
from api.services.comparisons import Known
from api.services.scope import Caller
from api.services.season_fit import Fitted, fitted_season

SECONDS_A_DAY = 86_400.0


@dataclass(frozen=True, slots=True)
class Drawn:
    """An outlook with the builds it is of, in its order, the strongest first."""

    fitted: Fitted
    builds: list[str]
    outlook: Outlook
    days_since: dict[str, int]


def event_outlook(db: Session, caller: Caller, event_id: str) -> EventOutlook:
    """Return what an event may bring; drawn once for each revision of the season's facts."""
    event = resources.get_row(db, caller, Event, event_id)
    season = resources.get_row(db, caller, Season, event.season_id)
    key = ("outlook", event.id, season.revision, caller.sees)
    kept: EventOutlook = cache_of(db).get_or_make(
        key, lambda: _shape(db, caller, season, event, draw_event(db, season, event))
    )
    return kept


def draw_event(db: Session, season: Season, event: Event) -> Drawn | None:
    """Draw an event between the builds that can be compared; nothing where none has an anchor."""
    morning = event.morning(season.timezone)
    fitted = fitted_season(db, season, until=morning)
    if fitted is None:
        return None
    last = fitted.last_trial()
    days_since = {
        build_id: int((morning.timestamp() - last[build_id]) // SECONDS_A_DAY)
        for build_id in fitted.current.values()
    }
    builds = _comparable(fitted)
    if not builds:
        return None
    about = drawing.Event(
        wind_speed_m_s=event.wind_speed_m_s or season.reference_wind_speed_m_s,
        reference_wind_speed_m_s=season.reference_wind_speed_m_s,
        best_of=event.best_of,
    )
    entrants = _entrants(fitted, builds, days_since)
    return Drawn(fitted, builds, foresee(entrants, about, seed=_seed(event)), days_since)


def _comparable(fitted: Fitted) -> list[str]:
    """Return the current builds of the largest group that an anchor holds, strongest first."""
    anchored = [build for build in fitted.current.values() if build in fitted.fair]
    groups: dict[int, list[str]] = {}
    for build in anchored:
        groups.setdefault(fitted.fit.group_of[build], []).append(build)
    largest = max(groups.values(), key=len, default=[])
    return sorted(largest, key=lambda build: -fitted.fair[build].power_w)


def _entrants(fitted: Fitted, builds: Sequence[str], days_since: dict[str, int]) -> Entrants:
    exponent = np.array([fitted.exponents[build] for build in builds])
    pause = np.array([days_since[build] for build in builds])
    return Entrants(
        ln_power=np.log([fitted.fair[build].power_w for build in builds]),
        covariance=fitted.fit.covariance_of(builds),
        wind_exponent=exponent[:, 0],
        u_wind_exponent=exponent[:, 1],
        not_finishing=np.where(
            pause > drawing.STALE_AFTER_DAYS, drawing.NOT_FINISHING_STALE, drawing.NOT_FINISHING
        ),
    )


def _seed(event: Event) -> int:
    """Return a seed of the event's own, so that the same facts give the same answer."""
    return int.from_bytes(hashlib.sha256(event.id.encode()).digest()[:4])


def _shape(
    db: Session, caller: Caller, season: Season, event: Event, drawn: Drawn | None
) -> EventOutlook:
    known = drawn and comparisons.known_to(db, caller, drawn.fitted)
    return EventOutlook(
        event_id=event.id,
        season_id=season.id,
        held_on=event.held_on,
        as_of=datetime.now(UTC),
        revision=season.revision,
        wind_speed_m_s=event.wind_speed_m_s or season.reference_wind_speed_m_s,
        best_of=event.best_of,
        draws=drawing.DRAWS,
        seed=_seed(event),
        teams=_teams(drawn, known) if drawn and known else [],
        pairs=_pairs(drawn, known) if drawn and known else [],
        whole_order=drawn.outlook.whole_order if drawn else None,
        entrants=len(drawn.builds) if drawn else 0,
        missing_links=comparisons.links(caller, drawn.fitted, known) if drawn and known else [],
        reason=None if drawn else wording.NO_OUTLOOK,
    )


def _teams(drawn: Drawn, known: Known) -> list[TeamOutlook]:
    """Return each shown team's outlook, those that can be placed first."""
    shown = [build for build in drawn.builds if known.is_shown(build, drawn.fitted)]
    others = [
        build
        for build in drawn.fitted.current.values()
        if build not in drawn.builds and known.is_shown(build, drawn.fitted)
    ]
    return [_placed(build, drawn, known) for build in shown] + [
        _not_placed(build, drawn, known) for build in others
    ]


def _of_build(build: str, drawn: Drawn, known: Known) -> dict[str, Any]:
    team = known.teams[drawn.fitted.team_of[build]]
    return {
        "team_id": team.id,
        "team_name": team.name,
        "build_id": build,
        "build_number": known.numbers[build],
        "trials": drawn.fitted.trials_of[build],
        "days_since_last_trial": drawn.days_since[build],
    }


def _placed(build: str, drawn: Drawn, known: Known) -> TeamOutlook:
    at, outlook, facts = drawn.builds.index(build), drawn.outlook, _of_build(build, drawn, known)
    median, low, high = (
        float(each[at]) for each in (outlook.median_w, outlook.low_w, outlook.high_w)
    )
    first = float(outlook.first[at])
    said = wording.say(
        "outlook.range",
        team=facts["team_name"],
        median=1000 * median,
        low=1000 * low,
        high=1000 * high,
        first=wording.share(first),
    )
    return TeamOutlook.model_validate(
        facts
        | said
        | {
            "status": "placed",
            "median_w": median,
            "range_80_w": (low, high),
            "first": first,
            "top_three": float(outlook.top_three[at]),
            "top_half": float(outlook.top_half[at]),
            "reason": None,
        }
    )


def _not_placed(build: str, drawn: Drawn, known: Known) -> TeamOutlook:
    facts, reason = _of_build(build, drawn, known), wording.NOTHING_JOINS
    said = wording.say("outlook.not_yet", team=facts["team_name"], reason=reason)
    nothing = dict.fromkeys(("median_w", "range_80_w", "first", "top_three", "top_half"))
    return TeamOutlook.model_validate(
        facts | said | nothing | {"status": "not_yet", "reason": reason}
    )


def _pairs(drawn: Drawn, known: Known) -> list[PairOutlook]:
    shown = [i for i, build in enumerate(drawn.builds) if known.is_shown(build, drawn.fitted)]
    return [
        _pair(one, other, drawn, known)
        for place, one in enumerate(shown)
        for other in shown[place + 1 :]
    ]


def _pair(one: int, other: int, drawn: Drawn, known: Known) -> PairOutlook:
    """Return what is said of two, the likelier one first."""
    if drawn.outlook.ahead[one, other] < 0.5:
        one, other = other, one
    probability = float(drawn.outlook.ahead[one, other])
    statement = "too_close"
    if probability >= PROBABLY_FROM:
        statement = "a_ahead" if probability >= AHEAD_FROM else "a_probably_ahead"
    a, b = drawn.builds[one], drawn.builds[other]
    names = [known.teams[drawn.fitted.team_of[build]].name for build in (a, b)]
    said = wording.say(
        f"event_pair.{statement}", a=names[0], b=names[1], sure=wording.share(probability)
    )
    return PairOutlook.model_validate(
        said | {"a": a, "b": b, "probability_a_ahead": probability, "statement": statement}
    )

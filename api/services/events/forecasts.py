"""Forecast an event from the trials before its day."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
from sqlmodel import Session

from analysis.comparison.pairs import AHEAD_FROM, PROBABLY_FROM, anchor_of
from analysis.event import forecast as drawing
from analysis.event.forecast import Entrants, Forecast, draw_forecast
from api.messages import say
from api.models.events.forecast import EventOutlook, PairOutlook, TeamOutlook
from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.services.core import resources, wording
from api.services.core.scope import Caller
from api.services.registry.current_builds import current_builds, words_of_build
from api.services.season import comparisons
from api.services.season.cached_answers import season_answer
from api.services.season.comparisons import VisibleComparison
from api.services.season.fit import Fitted, fitted_season

SECONDS_A_DAY = 86_400.0
#: One seed for all forecasts, so that they depend on measurements only, not on ids.
SEED = 20_260_502
#: Width of the 80 % range of a normal distribution, in standard uncertainties.
RANGE_IN_U = 2.56
CHANCES = ("first", "top_three", "top_half")


@dataclass(frozen=True, slots=True)
class Drawn:
    """A forecast with its builds, strongest first.

    `is_placed` is true if a reference rotor fixes the powers of the builds; otherwise only their
    order is known.
    """

    fitted: Fitted
    builds: list[str]
    outlook: Forecast
    days_since: dict[str, int]
    is_placed: bool


def event_outlook(db: Session, caller: Caller, event_id: str) -> EventOutlook:
    """Return the forecast of an event, cached for each revision of the season."""
    event = resources.get_row(db, caller, Event, event_id)
    season = resources.get_row(db, caller, Season, event.season_id)

    def make(db: Session, season: Season) -> EventOutlook:
        return _shape(db, caller, season, resources.get_row(db, caller, Event, event_id))

    return season_answer(db, caller, season, ("outlook", event.id), make)


def draw_event(db: Session, caller: Caller, season: Season, event: Event) -> Drawn | None:
    """Draw an event with the builds that can be placed, or return None if there are none."""
    fitted = fitted_season(db, caller, season, until=event.morning(season.timezone))
    placed = fitted and _comparable(fitted, _groups(fitted))
    return _draw(fitted, season, event, placed, is_placed=True) if fitted and placed else None


def _placed_of(groups: Sequence[Drawn]) -> Drawn | None:
    return next((group for group in groups if group.is_placed), None)


def draw_groups(
    fitted: Fitted, season: Season, event: Event, visible: VisibleComparison
) -> list[Drawn]:
    """Draw an event within each comparable group of the visible current builds.

    Hidden builds are left out, since a chance against them would reveal their power to a caller
    who can change a power of their own.
    """
    groups = _groups(fitted)
    placed = _comparable(fitted, groups)
    shown = [
        ([build for build in group if visible.is_shown(build, fitted)], group is placed)
        for group in groups
    ]
    drawn = [
        _draw(fitted, season, event, builds, is_placed=is_placed)
        for builds, is_placed in shown
        if builds
    ]
    # Sort only by visible facts: an order by power would reveal hidden builds.
    return sorted(drawn, key=lambda group: (-len(group.builds), min(group.builds)))


def _draw(
    fitted: Fitted, season: Season, event: Event, builds: list[str], *, is_placed: bool
) -> Drawn:
    """Draw an event within one group of builds."""
    morning, last = event.morning(season.timezone).timestamp(), fitted.last_trial
    days_since = {build: int((morning - last[build]) // SECONDS_A_DAY) for build in builds}
    about = drawing.Event(
        wind_speed_m_s=event.wind_speed_m_s or season.reference_wind_speed_m_s,
        reference_wind_speed_m_s=season.reference_wind_speed_m_s,
        best_of=event.best_of,
    )
    outlook = draw_forecast(_entrants(fitted, builds, days_since), about, seed=SEED)
    return Drawn(fitted, builds, outlook, days_since, is_placed=is_placed)


def _groups(fitted: Fitted) -> list[list[str]]:
    """Return the current builds of each group, strongest first."""
    effects, groups = fitted.fit.effects, dict[int, list[str]]()
    for build in sorted(fitted.current.values(), key=lambda build: -effects[build]):
        groups.setdefault(fitted.fit.group_of[build], []).append(build)
    return list(groups.values())


def _comparable(fitted: Fitted, groups: Sequence[list[str]]) -> list[str] | None:
    """Return the largest group with known powers."""
    anchored = [group for group in groups if group[0] in fitted.fair]
    return max(anchored, key=len, default=None)


def _entrants(fitted: Fitted, builds: Sequence[str], days_since: dict[str, int]) -> Entrants:
    """Return builds as entrants; without a reference their powers are on a scale of their own."""
    exponent = np.array([fitted.exponents[build] for build in builds])
    pause = np.array([days_since[build] for build in builds])
    fair, effects, fit = fitted.fair, fitted.fit.effects, fitted.fit
    # Watts are on the rotor's scale, so they are as uncertain as their difference to the rotor.
    anchor = anchor_of(fit.groups[fit.group_of[builds[0]]], fitted.assigned)
    return Entrants(
        ln_power=np.array(
            [np.log(fair[build].power_w) if build in fair else effects[build] for build in builds]
        ),
        covariance=fit.covariance_relative_to(anchor, builds)
        if anchor
        else fit.covariance_of(builds),
        wind_exponent=exponent[:, 0],
        u_wind_exponent=exponent[:, 1],
        not_finishing=np.where(
            pause > drawing.STALE_AFTER_DAYS, drawing.NOT_FINISHING_STALE, drawing.NOT_FINISHING
        ),
    )


def _shape(db: Session, caller: Caller, season: Season, event: Event) -> EventOutlook:
    fitted = fitted_season(db, caller, season, until=event.morning(season.timezone))
    visible = comparisons.visible_to(db, caller, season) if fitted else None
    groups = draw_groups(fitted, season, event, visible) if fitted and visible else []
    placed = _placed_of(groups)
    pairs = [pair for drawn in groups for pair in _pairs(drawn, visible)] if visible else []
    shown = sum(len(drawn.builds) for drawn in groups)
    return EventOutlook(
        event_id=event.id,
        season_id=season.id,
        held_on=event.held_on,
        as_of=datetime.now(UTC),
        revision=season.revision,
        wind_speed_m_s=event.wind_speed_m_s or season.reference_wind_speed_m_s,
        best_of=event.best_of,
        draws=placed.outlook.draws if placed else drawing.DRAWS,
        seed=SEED,
        teams=_with_untested(_teams(groups, visible), db, season) if visible else [],
        pairs=pairs,
        pairs_not_listed=_pairs_of_all(groups) - len(pairs),
        whole_order=_chance(placed, placed.outlook.whole_order)
        if placed and len(placed.builds) > 1
        else None,
        entrants=len(placed.builds) if placed else 0,
        among_shown=fitted is not None and shown < len(fitted.current),
        missing_links=comparisons.links(caller, fitted, visible) if fitted and visible else [],
        reason=None if placed else say("reason.no_outlook"),
    )


def _teams(groups: Sequence[Drawn], visible: VisibleComparison) -> list[TeamOutlook]:
    """Return the forecast of each visible team, those that can be placed first."""
    reason = say("reason.nothing_joins" if _placed_of(groups) else "reason.no_reference")
    return [
        _placed(at, build, drawn, visible)
        if drawn.is_placed
        else _not_placed(build, drawn, visible, reason)
        for drawn in sorted(groups, key=lambda drawn: not drawn.is_placed)
        for at, build in enumerate(drawn.builds)
    ]


def _with_untested(teams: list[TeamOutlook], db: Session, season: Season) -> list[TeamOutlook]:
    """Add to forecasts that a newer build has no counted trial yet."""
    current = current_builds(db, season.id)
    for team in teams:
        newest = current[team.team_id]
        if newest.build_id != team.build_id:
            team.untested_build_number = newest.number
            of = words_of_build(team.build_number, None, newest.number)
            team.sentence = say("report_event.of_build", sentence=team.sentence, build=of)
    return teams


def _of_build(build: str, drawn: Drawn, visible: VisibleComparison) -> dict[str, Any]:
    team = visible.teams[drawn.fitted.team_of[build]]
    return {
        "team_id": team.id,
        "team_name": team.name,
        "build_id": build,
        "build_number": visible.numbers[build],
        "trials": drawn.fitted.trials_of[build],
        "days_since_last_trial": drawn.days_since[build],
    }


def _chance(drawn: Drawn, chance: Any) -> float:
    """Return a chance, rounded to one per cent if it depends on hidden trials."""
    return round(float(chance), 2) if drawn.fitted.is_coarse else float(chance)


def rounded_range(at: int, drawn: Drawn) -> tuple[float, float, float]:
    """Return the median and the ends of the range of one entrant, rounded if needed."""
    outlook = drawn.outlook
    median, low, high = (
        float(each[at]) for each in (outlook.median_w, outlook.low_w, outlook.high_w)
    )
    u, rounded = (high - low) / RANGE_IN_U, drawn.fitted.rounded
    return rounded(median, u), rounded(low, u), rounded(high, u)


def _placed(at: int, build: str, drawn: Drawn, visible: VisibleComparison) -> TeamOutlook:
    outlook, facts = drawn.outlook, _of_build(build, drawn, visible)
    median, low, high = rounded_range(at, drawn)
    is_alone = len(drawn.builds) == 1
    sentence = wording.statement(
        "outlook.alone" if is_alone else "outlook.range",
        team=facts["team_name"],
        median=1000 * median,
        low=1000 * low,
        high=1000 * high,
        first=wording.share(float(outlook.first[at])),
    )
    chances = {
        name: None if is_alone else _chance(drawn, getattr(outlook, name)[at]) for name in CHANCES
    }
    return TeamOutlook.model_validate(
        facts
        | sentence
        | {
            "status": "placed",
            "median_w": median,
            "range_80_w": (low, high),
            "reason": None,
        }
        | chances
    )


def _not_placed(build: str, drawn: Drawn, visible: VisibleComparison, reason: str) -> TeamOutlook:
    facts = _of_build(build, drawn, visible)
    sentence = wording.statement("outlook.not_yet", team=facts["team_name"], reason=reason)
    no_figures = dict.fromkeys(("median_w", "range_80_w", *CHANCES))
    return TeamOutlook.model_validate(
        facts | sentence | no_figures | {"status": "not_yet", "reason": reason}
    )


def _pairs(drawn: Drawn, visible: VisibleComparison) -> list[PairOutlook]:
    """Return the pairs of one group with their chances; of many teams each and the next ones."""
    every = range(len(drawn.builds))
    near = len(every) if len(every) <= drawing.FULL_FIELD else drawing.NEXT_ONES
    return [
        _pair(one, other, drawn, visible)
        for one in every
        for other in every[one + 1 : one + 1 + near]
    ]


def _pairs_of_all(groups: Sequence[Drawn]) -> int:
    """Return the number of pairs within groups."""
    return sum(len(drawn.builds) * (len(drawn.builds) - 1) // 2 for drawn in groups)


def _pair(one: int, other: int, drawn: Drawn, visible: VisibleComparison) -> PairOutlook:
    """Return a pair with its chance, the likelier build first."""
    if drawn.outlook.ahead[one, other] < 0.5:
        one, other = other, one
    probability = _chance(drawn, drawn.outlook.ahead[one, other])
    statement = "too_close"
    if probability >= PROBABLY_FROM:
        statement = "a_ahead" if probability >= AHEAD_FROM else "a_probably_ahead"
    a, b = drawn.builds[one], drawn.builds[other]
    names = [visible.teams[drawn.fitted.team_of[build]].name for build in (a, b)]
    sentence = wording.statement(
        f"event_pair.{statement}", a=names[0], b=names[1], sure=wording.share(probability)
    )
    return PairOutlook.model_validate(
        sentence | {"a": a, "b": b, "probability_a_ahead": probability, "statement": statement}
    )

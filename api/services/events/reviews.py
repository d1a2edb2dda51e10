"""Compare the forecast of an event's morning with the results of the day."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import numpy as np
from sqlmodel import Session

from analysis.errors import AnalysisError
from analysis.event.forecast import Score, score_forecast
from analysis.numeric.resolution import two_digits
from api.messages import say
from api.messages.reasons import say_reason
from api.models.events.forecast import EventReview, TeamReview
from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.services.core import resources, wording
from api.services.core.scope import Caller
from api.services.events.event_day import best_of_teams, read_day
from api.services.events.forecasts import Drawn, draw_event, rounded_range
from api.services.season import comparisons
from api.services.season.cached_answers import season_answer

FIGURES = ("coverage", "brier", "mean_ln_bias")
#: With fewer hidden finishers, a caller who knows the others could derive a hidden result.
LEAST_HIDDEN = 5


def event_review(db: Session, caller: Caller, event_id: str) -> EventReview:
    """Return the review of an event's forecast, cached for each revision of the season."""
    event = resources.get_row(db, caller, Event, event_id)
    season = resources.get_row(db, caller, Season, event.season_id)

    def make(db: Session, season: Season) -> EventReview:
        return _review(db, caller, season, resources.get_row(db, caller, Event, event_id))

    return season_answer(db, caller, season, ("review", event.id), make)


def _review(db: Session, caller: Caller, season: Season, event: Event) -> EventReview:
    drawn = draw_event(db, caller, season, event)
    if drawn is None:
        return _nothing(season, event, say("reason.no_outlook"))
    results = _results(db, season, event, drawn)
    try:
        score = score_forecast(drawn.outlook, results)
    except AnalysisError as unknown:
        return _nothing(season, event, say_reason(str(unknown)))
    visible = comparisons.visible_to(db, caller, season)
    shown = [at for at, build in enumerate(drawn.builds) if visible.is_shown(build, drawn.fitted)]
    sentence = wording.statement(
        "review.coverage", inside=round(score.coverage * score.finished), of=score.finished
    )
    rounded: Callable[[float], float] = two_digits if drawn.fitted.is_coarse else float
    figures: dict[str, float | None] = {name: rounded(getattr(score, name)) for name in FIGURES}
    finished = np.flatnonzero(np.isfinite(score.z)).tolist()
    hidden = len(set(finished) - set(shown))
    if 0 < hidden < LEAST_HIDDEN:
        sentence, figures = wording.statement("review.few"), dict.fromkeys(FIGURES)
    return EventReview.model_validate(
        sentence
        | {
            "event_id": event.id,
            "as_of": datetime.now(UTC),
            "revision": season.revision,
            "teams": [
                _team(at, drawn, results, score, visible.teams[drawn.fitted.team_of[build]])
                for at, build in enumerate(drawn.builds)
                if at in shown
            ],
            "finished": score.finished,
            "reason": None,
        }
        | figures
    )


def _nothing(season: Season, event: Event, reason: str) -> EventReview:
    no_figures = dict.fromkeys(FIGURES)
    return EventReview.model_validate(
        wording.statement("review.nothing", reason=reason)
        | no_figures
        | {
            "event_id": event.id,
            "as_of": datetime.now(UTC),
            "revision": season.revision,
            "teams": [],
            "finished": 0,
            "reason": reason,
        }
    )


def _results(db: Session, season: Season, event: Event, drawn: Drawn) -> Any:
    """Return the best power of each drawn team in the event's runs; NaN without one."""
    best = best_of_teams(read_day(db, event, season), event)
    teams = (drawn.fitted.team_of[build] for build in drawn.builds)
    return np.array([best[team].power_w if team in best else np.nan for team in teams])


def _team(at: int, drawn: Drawn, results: Any, score: Score, team: Any) -> TeamReview:
    median, low, high = rounded_range(at, drawn)
    is_known = bool(np.isfinite(score.z[at]))
    result = float(results[at]) if is_known else None
    return TeamReview(
        team_id=team.id,
        team_name=team.name,
        median_w=median,
        range_80_w=(low, high),
        result_w=result,
        z=(round(float(score.z[at]), 1) if drawn.fitted.is_coarse else float(score.z[at]))
        if is_known
        else None,
        within=None if result is None else low <= result <= high,
    )

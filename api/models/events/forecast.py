"""The forecast of an event, and its review."""

from datetime import date, datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.models.core.statements import Statement
from api.models.season.comparison import MissingLinkRead

Share = Annotated[float, Field(ge=0, le=1)]


class TeamOutlook(Statement):
    """One team's range and chances; null where it cannot be placed, and `reason` says why."""

    team_id: str
    team_name: str
    build_id: str
    build_number: int
    untested_build_number: Annotated[
        int | None, Field(description="A newer build that has no trial that counts yet.")
    ] = None
    status: Literal["placed", "not_yet"]
    median_w: float | None
    range_80_w: Annotated[
        tuple[float, float] | None, Field(description="Holds the result with 80 %. [W]")
    ]
    first: Annotated[Share | None, Field(description="Probability of coming first. [-]")]
    top_three: Share | None
    top_half: Share | None
    trials: int
    days_since_last_trial: Annotated[
        int, Field(description="On the event's day; beyond 21 days a result is less sure.")
    ]
    reason: str | None


class PairOutlook(Statement):
    """Who of two comes first, as probably as can be said."""

    a: str
    b: str
    probability_a_ahead: Share
    statement: Literal["a_ahead", "a_probably_ahead", "too_close"]


class EventOutlook(BaseModel):
    """What an event may bring: drawn many times over, never one predicted order as fact."""

    event_id: str
    season_id: str
    held_on: date
    as_of: datetime
    revision: int
    wind_speed_m_s: float
    best_of: int
    draws: int
    seed: Annotated[int, Field(description="The same seed and facts give the same answer.")]
    teams: list[TeamOutlook]
    pairs: Annotated[
        list[PairOutlook],
        Field(
            description="Each two that can be compared: within a group also without an anchor; in "
            "a group of more than 200 each and the next 20 in order."
        ),
    ]
    pairs_not_listed: int = 0
    whole_order: Annotated[
        Share | None,
        Field(description="How probably the likeliest order comes out as it is: rarely. [-]"),
    ]
    entrants: Annotated[int, Field(description="Teams drawn: those that are shown.")]
    among_shown: Annotated[
        bool,
        Field(
            description="Teams of schools that do not share take part too: chances are among the "
            "teams shown, and say nothing of the others."
        ),
    ]
    missing_links: list[MissingLinkRead]
    reason: Annotated[str | None, Field(description="Why nobody can be placed, if so.")]


class TeamReview(BaseModel):
    """One team's forecast against its result."""

    team_id: str
    team_name: str
    median_w: float
    range_80_w: tuple[float, float]
    result_w: Annotated[float | None, Field(description="Null where it did not finish. [W]")]
    z: Annotated[
        float | None, Field(description="Of ln power, in the forecast's standard deviations. [-]")
    ]
    within: bool | None


class EventReview(Statement):
    """How the forecast of the morning did against the day's results."""

    event_id: str
    as_of: datetime
    revision: int
    teams: list[TeamReview]
    finished: int
    coverage: Annotated[
        Share | None, Field(description="Share of results within their 80 % range. [-]")
    ]
    brier: Annotated[
        float | None,
        Field(description="Mean square miss of pair probabilities: 0.25 is a coin's. [-]"),
    ]
    mean_ln_bias: Annotated[
        float | None, Field(description="Mean of ln result less ln median: shared by all. [-]")
    ]
    reason: str | None


class OutlookQuery(BaseModel):
    """The query of a forecast."""

    model_config = ConfigDict(extra="forbid")

"""A team's progress: each build, the trend, what sweeps found, and what to test next."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.models.reports import FigureRead

Span = tuple[float, float]


class BuildProgress(FigureRead):
    """One build as far as its record trials tell."""

    build_id: str
    number: int
    best_seen_w: Annotated[float, Field(description="Largest trial: rather too large. [W]")]
    best_seen_debiased_w: Annotated[
        float, Field(description="The same less what chance makes the largest of many. [W]")
    ]
    wind_exponent: float
    wind_exponent_u: float
    wind_exponent_source: Literal["default", "own"]


class SessionProgress(FigureRead):
    """One session of the team."""

    session_id: str
    started_at: datetime


class TrendRead(BaseModel):
    """Whether power grows from session to session."""

    sessions: int
    slope_pct_per_week: float | None
    interval_pct_per_week: Annotated[
        Span | None, Field(description="90 %, by ranks of the slopes. [%]")
    ]
    kendall_s: int | None
    p_one_sided: Annotated[
        float | None, Field(description="Probability of such growth by chance alone. [-]")
    ]
    verdict: Literal["too_early", "no_clear_trend", "likely_improving", "improving"]
    reason: str | None
    sentence: str


class PitchRead(BaseModel):
    """What a build's pitch sweep found."""

    build_id: str
    number: int
    readings: int
    bracketed: bool
    best_pitch_deg: float | None
    u_deg: float | None
    fieller_deg: Span | None
    plateau_deg: Span | None
    next_pitch_deg: float | None
    reason: str | None
    sentence: str


class LoadRead(BaseModel):
    """What a build's load sweep found."""

    build_id: str
    number: int
    loads: int
    valid: bool
    source_voltage_v: float | None
    source_resistance_ohm: float | None
    matched_load_ohm: float | None
    max_power_w: float | None
    reason: str | None
    sentence: str


class ChangeRead(BaseModel):
    """What came with the change from one build to the next."""

    from_build_id: str
    to_build_id: str
    factor: str | None
    effect_pct: float
    interval_pct: Span
    detectable_pct: Annotated[
        float, Field(description="A smaller change would hide in the usual wobble. [%]")
    ]
    sentence: str


class NextTest(BaseModel):
    """The one thing to test next."""

    factor: Literal["record", "pitch", "load", "repeat"]
    value: float | None
    sentence: str


class TeamProgress(BaseModel):
    """A team's way so far."""

    team_id: str
    name: str
    as_of: datetime
    revision: int
    builds: list[BuildProgress]
    sessions: list[SessionProgress]
    trend: TrendRead
    pitch: list[PitchRead]
    load: list[LoadRead]
    changes: list[ChangeRead]
    next_test: NextTest
    reason: Annotated[str | None, Field(description="Why there are no builds here, if so.")]


class ProgressQuery(BaseModel):
    """How to show progress."""

    model_config = ConfigDict(extra="forbid")

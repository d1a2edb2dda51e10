"""A team's progress: each build, the trend, the results of sweeps, and the next test."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.models.core.statements import Statement
from api.models.season.reports import FigureRead, TrendRead

Span = tuple[float, float]


class BuildProgress(FigureRead):
    """One build as far as its record trials tell."""

    build_id: str
    number: int
    best_seen_w: Annotated[float, Field(description="Largest trial: rather too large. [W]")]
    best_seen_debiased_w: Annotated[
        float, Field(description="The same less what chance makes the largest of many. [W]")
    ]
    fair_power_w: Annotated[
        float | None,
        Field(
            description="Best estimate on the season's scale, freed of the bench by the reference "
            "rotor and drawn a little to the team's own level; null where nothing joins it. [W]"
        ),
    ]
    fair_u_total: float | None
    fair_interval_w: Annotated[Span | None, Field(description="k = 2. [W]")]
    wind_exponent: float
    wind_exponent_u: float
    wind_exponent_source: Literal["default", "own"]


class SessionProgress(FigureRead):
    """One session of the team."""

    session_id: str
    started_at: datetime
    build_number: Annotated[int, Field(description="The newest build with a trial that counts.")]
    adjusted_power_w: Annotated[
        float | None,
        Field(
            description="As at an average bench; where the reference rotor ran, also as in an "
            "average session. Null where nothing joins it to the others. [W]"
        ),
    ]
    reference_ran: bool


class PlateauRead(Statement):
    """Whether the newest builds still gain."""

    status: Literal["not_yet", "unclear", "gaining", "reached"]
    builds: Annotated[int, Field(description="Builds measured.")]


class PitchRead(Statement):
    """What a build's pitch sweep found."""

    build_id: str
    number: int
    readings: int
    status: Annotated[
        Literal["found", "rough", "stale", "open"],
        Field(description="stale: what the optimum depends on has changed since."),
    ]
    bracketed: bool
    best_pitch_deg: float | None
    u_deg: float | None
    interval_deg: Annotated[
        Span | None, Field(description="Holds the best pitch with about 95 %. [°]")
    ]
    fieller_deg: Annotated[Span | None, Field(description="90 %. [°]")]
    plateau_deg: Annotated[
        Span | None,
        Field(description="Within 3 % of the peak, with about 80 % for both ends. [°]"),
    ]
    peak_power_w: Annotated[float | None, Field(description="At the best pitch. [W]")]
    next_pitch_deg: float | None
    reason: str | None
    points: Annotated[
        tuple[Span, ...], Field(description="Pitch [°] and power [W] of each reading.")
    ] = ()


class LoadRead(Statement):
    """What a build's load sweep found."""

    build_id: str
    number: int
    loads: int
    status: Annotated[
        Literal["found", "beyond", "near_stall", "stale", "open"],
        Field(description="beyond: the best load lies outside the loads tried."),
    ]
    valid: Annotated[bool, Field(description="Whether volts and amperes lie on a line.")]
    source_voltage_v: float | None
    source_resistance_ohm: float | None
    u_resistance_ohm: float | None
    matched_load_ohm: float | None
    interval_ohm: Annotated[Span | None, Field(description="Of the matched load, k = 2. [Ω]")]
    max_power_w: float | None
    reason: str | None
    points: Annotated[
        tuple[Span, ...], Field(description="Load [Ω] and power [W] of each trial.")
    ] = ()


class WindRead(Statement):
    """What a build's wind sweep found."""

    build_id: str
    number: int
    load_ohm: float
    readings: int
    speeds: int
    status: Annotated[
        Literal["own", "bent", "open"],
        Field(description="bent: no power law; open: not to be used, `reason` says why."),
    ]
    fitted_exponent: Annotated[float | None, Field(description="By the sweep alone. [-]")]
    fitted_standard_error: float | None
    exponent: Annotated[
        float | None, Field(description="Drawn towards the season's other builds; this is used.")
    ]
    u_exponent: float | None
    curvature_t: Annotated[
        float | None, Field(description="Beyond 2 in size power is no power law. [-]")
    ]
    covers_m_s: Span | None
    reason: str | None
    points: Annotated[
        tuple[Span, ...], Field(description="Wind [m/s] and power [W] of each trial.")
    ] = ()


class ChangeRead(Statement):
    """What came with the change from one build to the next."""

    from_build_id: str
    to_build_id: str
    factor: str | None
    status: Literal["more", "less", "unclear"]
    effect_pct: float
    interval_pct: Span
    detectable_pct: Annotated[
        float, Field(description="A smaller change would hide in the usual wobble. [%]")
    ]
    design: Annotated[
        Literal["old_new_old", "same_session", "different_sessions"],
        Field(description="How old and new were tested: what one session shares drops out."),
    ]
    trials: int
    sessions: int


class NextTest(Statement):
    """The one thing to test next."""

    factor: Literal["record", "pitch", "load", "other", "repeat"]
    value: float | None


class TeamProgress(BaseModel):
    """A team's way so far."""

    team_id: str
    name: str
    as_of: datetime
    revision: int
    builds: list[BuildProgress]
    sessions: list[SessionProgress]
    trend: TrendRead
    current_build_number: Annotated[
        int | None, Field(description="The newest build that is registered, counted or not.")
    ] = None
    plateau: PlateauRead
    pitch: list[PitchRead]
    load: list[LoadRead]
    wind: list[WindRead]
    changes: list[ChangeRead]
    next_test: NextTest
    reason: Annotated[str | None, Field(description="Why there are no builds here, if so.")]


class ProgressQuery(BaseModel):
    """The query of a team's progress."""

    model_config = ConfigDict(extra="forbid")

"""Builds of several schools on one scale, and what may be said of them."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field


class FairBuild(BaseModel):
    """A build on the season's scale; a value that cannot be known is null and `reason` says why."""

    build_id: str
    build_number: int
    team_id: str
    team_name: str
    current: Annotated[bool, Field(description="Whether it is its team's current build.")]
    group: Annotated[int, Field(description="Position in `groups`.")]
    fair_power_w: Annotated[
        float | None,
        Field(description="Power at the reference, freed of its bench by the reference rotor. [W]"),
    ]
    u_total: float | None
    interval_w: Annotated[tuple[float, float] | None, Field(description="k = 2. [W]")]
    trials: int
    reason: str | None


class BenchScoreRead(BaseModel):
    """How far a bench reads off; it grades the bench and nobody's work."""

    bench_id: str
    name: str
    effect_pct: float
    u_pct: float
    z: Annotated[float, Field(description="Of 10 % as fit for the purpose (ISO 13528). [-]")]
    verdict: Literal["fine", "look", "act"]
    trials: int


class PairRead(BaseModel):
    """How two current builds stand to each other."""

    a: str
    b: str
    comparable: Literal["yes", "rough", "not_yet"]
    probability_a_ahead: float | None
    u_difference: float | None
    statement: Literal[
        "a_ahead", "a_probably_ahead", "too_close", "b_probably_ahead", "b_ahead", "not_yet"
    ]
    sentence: str


class MissingLinkRead(BaseModel):
    """What would join builds that cannot be compared yet."""

    joins: list[str]
    bench_id: str | None
    needs: Literal["reference", "visit"]
    sentence: str


class SeasonComparison(BaseModel):
    """The season's builds as far as they can be compared fairly."""

    season_id: str
    as_of: datetime
    revision: int
    groups: Annotated[
        list[list[str]], Field(description="Builds that reference rotors and visits connect.")
    ]
    builds: list[FairBuild]
    benches: list[BenchScoreRead]
    pairs: list[PairRead]
    missing_links: list[MissingLinkRead]
    trials: int
    not_shown: Annotated[
        int, Field(description="Builds of schools that do not share them with this key.")
    ]
    reason: Annotated[str | None, Field(description="Why nothing can be compared, if so.")]


class ComparisonQuery(BaseModel):
    """How to compare."""

    model_config = ConfigDict(extra="forbid")

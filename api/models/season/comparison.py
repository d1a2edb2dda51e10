"""Builds of several schools on one scale, with their comparisons."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.models.core.ids import EventId, OrganisationId
from api.models.core.statements import Statement


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
    u_total: Annotated[
        float | None, Field(description="As far as builds are compared with each other. [-]")
    ]
    u_region: Annotated[
        float | None,
        Field(
            description="Shared by all fair powers, since it is the reference rotor's own: it "
            "matters for watts as such and drops out of every comparison. [-]"
        ),
    ]
    interval_w: Annotated[tuple[float, float] | None, Field(description="k = 2 by `u_total`. [W]")]
    trials: int
    reason: str | None


class AssignedScoreRead(BaseModel):
    """How far a bench reads the reference rotor off its assigned power."""

    effect_pct: float
    z_prime: Annotated[
        float, Field(description="z′ of ISO 13528: of 10 % joined with the power's 14.6 %. [-]")
    ]
    zeta: Annotated[float, Field(description="In the standard uncertainties of both. [-]")]
    e_n: Annotated[float, Field(description="In the expanded ones: up to 1 agrees. [-]")]
    verdict: Literal["fine", "look", "act"]


class BenchScoreRead(Statement):
    """How far a bench reads off; it grades the bench and nobody's work."""

    bench_id: str
    name: str
    effect_pct: float
    u_pct: float
    z: Annotated[float, Field(description="Of 10 % as fit for the purpose (ISO 13528). [-]")]
    zeta: Annotated[float, Field(description="In the bench's own standard uncertainty. [-]")]
    e_n: Annotated[float, Field(description="In its expanded uncertainty: up to 1 agrees. [-]")]
    against: Annotated[
        Literal["season_model", "consensus"],
        Field(
            description="What it is compared with: the robust consensus of all benches, or of one "
            "or two the season model's mean."
        ),
    ]
    assigned: Annotated[
        AssignedScoreRead | None,
        Field(description="Against the reference rotor's assigned power, if there is one."),
    ]
    verdict: Annotated[
        Literal["fine", "look", "act"], Field(description="The graver one of both comparisons.")
    ]
    trials: int


class PairRead(Statement):
    """How two current builds stand to each other."""

    a: str
    b: str
    comparable: Literal["yes", "rough", "not_yet"]
    probability_a_ahead: float | None
    u_difference: float | None
    statement: Literal[
        "a_ahead", "a_probably_ahead", "too_close", "b_probably_ahead", "b_ahead", "not_yet"
    ]
    interval_pct: Annotated[
        tuple[float, float] | None, Field(description="By how much a is ahead, k = 2. [%]")
    ]
    trials: Annotated[int, Field(description="Trials of the two.")]


class ModelCheck(Statement):
    """Whether the season's trials scatter as their uncertainties say."""

    standard_deviation: Annotated[
        float,
        Field(description="Of residuals in their stated uncertainty: 0.7 to 1.3 is fine. [-]"),
    ]
    verdict: Literal["fine", "too_wide", "too_narrow"]
    trials: int
    session_sd: Annotated[float, Field(description="What sessions of one bench differ by. [-]")]
    residual_factor: Annotated[
        float, Field(description="Times the stated uncertainty that trials scatter. [-]")
    ]
    estimated: Annotated[
        bool, Field(description="From this season's trials, else assumed (40 trials, 4 benches).")
    ]
    interaction_sd: Annotated[
        float, Field(description="What one build differs by from bench to bench. [-]")
    ]
    interaction_estimated: Annotated[
        bool, Field(description="From visits between benches, else assumed.")
    ]


class MissingLinkRead(Statement):
    """What would join builds that cannot be compared yet."""

    joins: list[str]
    bench_id: str | None
    needs: Literal["reference", "visit"]


class OddTrialRead(Statement):
    """A trial that the rest of the season does not expect, which counts once it is confirmed."""

    trial_id: str
    build_id: str
    bench_id: str
    ratio: Annotated[
        float,
        Field(
            description="Times the power that all others predict; of two trials of a build that "
            "contradict each other, the larger over the smaller. [-]"
        ),
    ]
    likely_cause: Literal["no_load", "fan_setting", "contradiction", "unknown"]


class SeasonComparison(BaseModel):
    """The season's builds as far as they can be compared fairly."""

    season_id: str
    as_of: datetime
    revision: int
    groups: Annotated[
        list[list[str]], Field(description="Builds that reference rotors and visits connect.")
    ]
    builds: Annotated[
        list[FairBuild],
        Field(
            description="Up to 1,000, current ones first, the stronger first; else ask by school."
        ),
    ]
    builds_not_listed: int = 0
    benches: list[BenchScoreRead]
    pairs: Annotated[
        list[PairRead],
        Field(
            description="Every two current builds, the stronger first; of more than 200 each and "
            "the next ones in order, up to 2,000 pairs."
        ),
    ]
    pairs_not_listed: int
    missing_links: list[MissingLinkRead]
    check: Annotated[ModelCheck | None, Field(description="Null without a trial that counts.")]
    odd_trials: Annotated[
        list[OddTrialRead],
        Field(
            description="Trials of the key's schools that are left out since no other trial "
            "expects them: correct, withdraw or confirm each."
        ),
    ]
    trials: int
    not_shown: Annotated[
        int, Field(description="Builds of schools that do not share them with this key.")
    ]
    reason: Annotated[str | None, Field(description="Why nothing can be compared, if so.")]
    others_as_of: Annotated[
        datetime | None,
        Field(
            description="The moment of other schools' trials; null if they are the current ones. "
            "It moves on when enough has changed to hide each single one; own trials count at once."
        ),
    ] = None


class ComparisonQuery(BaseModel):
    """The query of a comparison."""

    model_config = ConfigDict(extra="forbid")

    event_id: Annotated[
        EventId | None, Field(description="As it was known on the morning of an event.")
    ] = None
    organisation_id: Annotated[
        OrganisationId | None,
        Field(description="Only this school's builds, their pairs, and its benches."),
    ] = None

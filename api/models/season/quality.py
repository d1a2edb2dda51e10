"""How well a season measures: the reference rotor, repeatability, what decides the order."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, Field

from api.models.core.statements import Statement


class ChartPointRead(BaseModel):
    """The reference rotor in one session, against its mean at the bench."""

    session_id: str
    started_at: datetime
    off_pct: Annotated[float, Field(description="Above or below the rotor's mean here. [%]")]
    sd_pct: Annotated[
        float, Field(description="Standard deviation of `off_pct` if nothing changed. [%]")
    ]
    z: Annotated[float, Field(description="Deviation in standard deviations. [-]")]
    verdict: Annotated[
        Literal["fine", "look", "act"], Field(description="Look beyond 2, act from 3 on.")
    ]
    trials: int


class ControlChartRead(Statement):
    """A control chart: the sessions of a reference rotor at one bench, in order of time."""

    bench_id: str
    bench: str
    rotor_id: Annotated[str, Field(description="Its build.")]
    rotor: str
    moved_at: Annotated[
        datetime | None,
        Field(description="Since when eight sessions or more are on one side of the mean."),
    ]
    points: list[ChartPointRead]


class DriftRead(Statement):
    """Whether the reference rotor itself changes: its slope at all benches together."""

    pct_per_week: float
    interval_pct: Annotated[tuple[float, float], Field(description="95 %. [% per week]")]
    weeks: float
    benches: int
    is_certain: Annotated[
        bool,
        Field(
            description="At two benches or more, and as much by chance in 1 % of seasons at most: "
            "powers are then corrected for it."
        ),
    ]


class PrecisionRead(Statement):
    """How much two trials of one build differ by, in 95 % of cases."""

    level: Literal["repeatability", "intermediate", "reproducibility"]
    sd_pct: Annotated[float | None, Field(description="Standard deviation. [%]")]
    limit_pct: Annotated[float | None, Field(description="2.8 standard deviations. [%]")]
    degrees_of_freedom: int


class PairChangeRead(BaseModel):
    """A pair of builds, the more likely leader first."""

    a: str
    a_name: str
    b: str
    b_name: str
    probability: Annotated[float, Field(description="That `a` is ahead. [-]")]
    probability_then: Annotated[float, Field(description="The same if one thing differed. [-]")]


class InfluenceRead(Statement):
    """What one bench does to the order of the builds that were tested elsewhere too."""

    bench_id: str
    bench: str
    builds: int
    largest_shift_pct: Annotated[
        float, Field(description="The most that leaving the bench out moves a build. [%]")
    ]
    largest_shift_team: str | None
    reversed: Annotated[
        list[PairChangeRead], Field(description="Pairs whose more likely leader changes, up to 10.")
    ]
    reversed_count: int
    only_link: Annotated[
        int, Field(description="Number of pairs that cannot be compared without the bench.")
    ]


class InteractionRead(Statement):
    """How much a build's power is taken to differ from bench to bench."""

    sd_pct: float
    is_estimated: Annotated[
        bool, Field(description="From visits between benches; else it is an assumption.")
    ]
    other_sd_pct: Annotated[float, Field(description="What `probability_then` is for.")]
    pairs: Annotated[
        list[PairChangeRead],
        Field(description="Each build and the next one, now and if builds differed by that much."),
    ]


class SeasonQuality(BaseModel):
    """How well a season measures."""

    season_id: str
    name: str
    revision: int
    as_of: datetime
    charts: list[ControlChartRead]
    drift: DriftRead | None
    precision: list[PrecisionRead]
    influence: list[InfluenceRead]
    influence_left_out: Annotated[
        str | None, Field(description="Why the influence of benches was not calculated.")
    ]
    interaction: InteractionRead | None
    reason: str | None

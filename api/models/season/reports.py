"""A season's report: the figures of each team, with uncertainties, counts and trials left out."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.models.core.fields import ReportFormat
from api.models.core.ids import OrganisationId, SeasonId, TeamId
from api.models.core.statements import Statement
from api.models.season.comparison import PairRead
from api.models.season.quality import DriftRead


class FigureRead(BaseModel):
    """A normalised power with its uncertainty and what it is based on."""

    normalised_power_w: Annotated[
        float, Field(description="Typical power at the season's reference wind and air. [W]")
    ]
    normalised_power_cubic_w: Annotated[
        float, Field(description="What the textbook's cube rule would give. [W]")
    ]
    u_own: Annotated[float, Field(description="Uncertainty that is this figure's alone. [-]")]
    u_bench: Annotated[
        float, Field(description="Uncertainty shared by all results of the bench. [-]")
    ]
    u_total: float
    interval_w: Annotated[tuple[float, float], Field(description="k = 2, about 95 %. [W]")]
    trials: int
    sessions: int
    bench_id: Annotated[str | None, Field(description="Null where several benches went into it.")]


class BuildFigure(FigureRead):
    """The figure of a build."""

    build_id: str
    build_number: int
    latest_at: Annotated[
        datetime | None, Field(description="When the newest of its counted trials was run.")
    ] = None


class SessionFigure(FigureRead):
    """The figure of a team in one session."""

    session_id: str
    started_at: datetime


class BestSeenRead(BaseModel):
    """The largest trial: the largest of several noisy numbers, so rather too large."""

    normalised_power_w: float
    u_total: float
    interval_w: tuple[float, float]
    trial_id: str
    build_id: str
    build_number: int
    of_trials: Annotated[int, Field(description="How many trials it is the largest of.")]


class GainRead(BaseModel):
    """How the current build differs from the first one measured."""

    change_pct: float
    interval_pct: tuple[float, float]
    from_build_number: int


class LeftOut(BaseModel):
    """Trials that are stored and not counted, and why."""

    code: str
    trials: int
    sentence: str


class TrendRead(Statement):
    """Whether power grows from session to session."""

    sessions: int
    slope_pct_per_week: float | None
    interval_pct_per_week: Annotated[
        tuple[float, float] | None, Field(description="90 %, by ranks of the slopes. [%]")
    ]
    kendall_s: int | None
    p_one_sided: Annotated[
        float | None, Field(description="Probability of such growth by chance alone. [-]")
    ]
    verdict: Literal["too_early", "no_clear_trend", "likely_improving", "improving"]
    reason: str | None


class TeamReport(BaseModel):
    """One team's season; a figure that cannot be known is null and `reason` says why."""

    team_id: str
    name: str
    organisation_id: str
    entry_class: str | None
    current: Annotated[
        BuildFigure | None,
        Field(description="Of the newest build that has a trial that counts."),
    ]
    current_build_number: Annotated[
        int | None, Field(description="The newest build that is registered.")
    ] = None
    reason: str | None
    untested_build_number: Annotated[
        int | None, Field(description="A newer build that has no trial that counts yet.")
    ]
    best_seen: BestSeenRead | None
    first: SessionFigure | None
    latest: SessionFigure | None
    change: GainRead | None
    change_reason: str | None
    trend: TrendRead
    trials: Annotated[int, Field(description="Trials that count.")]
    sessions: Annotated[int, Field(description="Sessions with a trial that counts.")]
    trials_stored: int
    last_trial_at: datetime | None
    left_out: list[LeftOut]


class OrganisationReport(BaseModel):
    """One organisation's teams."""

    organisation_id: str
    name: str
    teams: list[TeamReport]


class BenchPlace(BaseModel):
    """A team's place among those measured at the same bench."""

    place: int
    team_id: str
    name: str
    normalised_power_w: float
    u_own: float
    interval_within_bench_w: Annotated[
        tuple[float, float],
        Field(description="k = 2 without the uncertainty that all results of the bench share. [W]"),
    ]
    trials: int
    sessions: int
    probability_ahead_of_next: Annotated[
        float | None, Field(description="That it truly lies above the next one here. [-]")
    ]
    too_close_to_next: Annotated[
        bool, Field(description="Below 0.80 the order of the two is too close to call.")
    ]
    build_number: int | None = None
    untested_build_number: Annotated[
        int | None, Field(description="A newer build that has no trial that counts yet.")
    ] = None


class BenchOrder(BaseModel):
    """The teams whose current build was measured at one bench, strongest first."""

    bench_id: str
    name: str
    organisation_id: str
    order: list[BenchPlace]


class FairPlace(BaseModel):
    """A team's current build on the season's scale, strongest first within its group."""

    group: Annotated[int, Field(description="Only places of one group can be held together.")]
    group_size: Annotated[int, Field(description="Builds of its group; places are among these.")]
    place: Annotated[int, Field(description="By the middle of its interval.")]
    places: Annotated[
        tuple[int, int],
        Field(description="The best and the worst place that the uncertainty leaves open (95 %)."),
    ]
    team_id: str
    name: str
    build_id: str
    build_number: int
    fair_power_w: Annotated[
        float | None, Field(description="Null where no reference rotor tells the scale. [W]")
    ]
    u_total: float | None
    interval_w: tuple[float, float] | None
    trials: int
    untested_build_number: Annotated[
        int | None, Field(description="A newer build that has no trial that counts yet.")
    ] = None
    ahead_of_next: Annotated[
        PairRead | None, Field(description="What may be said of it and the next one shown here.")
    ]
    reason: str | None


class FairTable(Statement):
    """Teams of different benches on one scale, as far as they can be compared."""

    available: Annotated[bool, Field(description="Whether any two benches are joined.")]
    places: list[FairPlace]
    not_shown: Annotated[int, Field(description="Builds of schools that do not share them.")]
    others_as_of: Annotated[
        datetime | None,
        Field(description="The moment of other schools' trials; null if they are current."),
    ] = None
    assumption: Annotated[
        str | None,
        Field(description="What the comparison assumes because the season cannot tell."),
    ] = None


class SeasonReport(BaseModel):
    """The season so far, as far as the key may see."""

    season_id: str
    name: str
    revision: int
    as_of: datetime
    reference_wind_speed_m_s: float
    reference_air_density_kg_m3: float
    organisations: list[OrganisationReport]
    benches: list[BenchOrder]
    comparison: FairTable
    drift: Annotated[
        DriftRead | None,
        Field(description="Of the reference rotor, if it is certain and was corrected."),
    ] = None
    trials_stored: int
    trials: int
    sessions: int
    left_out: list[LeftOut]


class ReportQuery(BaseModel):
    """Which part of the season, and in which format."""

    model_config = ConfigDict(extra="forbid")

    organisation_id: OrganisationId | None = None
    team_id: TeamId | None = None
    format: Annotated[
        ReportFormat | None,
        Field(
            description="json, csv, html or pdf; else Accept decides.",
        ),
    ] = None
    excel: Annotated[
        bool, Field(description="Begin the CSV with a byte order mark, for spreadsheets.")
    ] = False


class OrganisationReportQuery(ReportQuery):
    """Which season of an organisation, and in which format."""

    season_id: Annotated[
        SeasonId | None, Field(description="Left out: the running one of those it has a team in.")
    ] = None
    organisation_id: None = None

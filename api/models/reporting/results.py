"""Which results to give, one row for each trial or run, and in which format."""

from datetime import date
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from api.models.core.ids import (
    BenchId,
    BuildId,
    EventId,
    OrganisationId,
    SeasonId,
    TeamId,
    TurbineId,
)
from api.models.trials.trials import TrialKind, TrialState

Rows = Literal["trials", "runs"]
Format = Literal["csv", "xlsx", "parquet"]


class ResultsQuery(BaseModel):
    """Which results to give; without a filter all that the key may see."""

    model_config = ConfigDict(extra="forbid")

    rows: Annotated[Rows, Field(description="One row for each trial, or for each run.")] = "trials"
    format: Annotated[
        Format,
        Field(description="csv, xlsx (with a sheet that explains the columns) or parquet."),
    ] = "csv"
    season_id: SeasonId | None = None
    organisation_id: OrganisationId | None = None
    team_id: TeamId | None = None
    turbine_id: TurbineId | None = None
    build_id: BuildId | None = None
    bench_id: BenchId | None = None
    event_id: Annotated[
        EventId | None, Field(description="The trials of an event's official runs.")
    ] = None
    kind: TrialKind | None = None
    state: TrialState | None = None
    from_day: Annotated[
        date | None, Field(description="First day of sessions, in the season's time zone.")
    ] = None
    to_day: Annotated[
        date | None, Field(description="Last day of sessions, in the season's time zone.")
    ] = None
    updated_since: Annotated[
        AwareDatetime | None,
        Field(description="Trials stored, corrected, withdrawn or answered for since this moment."),
    ] = None

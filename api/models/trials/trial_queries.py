"""Which trials are wanted: for lists, and for tables of results."""

from datetime import date
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from api.models.core.fields import ClientRef
from api.models.core.ids import BenchId, BuildId, EventId, SessionId, TeamId, TurbineId
from api.models.core.shapes import ORDERED_BY, PageQuery
from api.models.trials.trials import TrialKind, TrialState

#: The filters of trials that are columns of their own table.
OWN_COLUMNS = ("organisation_id", "season_id", "session_id", "build_id", "kind", "state",
               "client_ref")  # fmt: skip


class TrialFilters(BaseModel):
    """Which trials are wanted, of all that a key may see."""

    model_config = ConfigDict(extra="forbid")

    organisation_id: str | None = None
    season_id: str | None = None
    team_id: TeamId | None = None
    turbine_id: TurbineId | None = None
    build_id: BuildId | None = None
    bench_id: BenchId | None = None
    session_id: SessionId | None = None
    event_id: Annotated[
        EventId | None, Field(description="The trials of an event's official runs.")
    ] = None
    kind: TrialKind | None = None
    state: TrialState | None = None
    client_ref: ClientRef | None = None
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


class TrialQuery(TrialFilters, PageQuery):
    """Which trials to list."""

    sort: Annotated[
        Literal["created_at", "-created_at", "started_at", "-started_at"],
        Field(description=f"{ORDERED_BY} `started_at` is that of the session."),
    ] = "created_at"

    def column_filters(self) -> dict[str, Any]:
        """Return the filters by columns of the trials themselves."""
        return {name: value for name, value in self.filters().items() if name in OWN_COLUMNS}

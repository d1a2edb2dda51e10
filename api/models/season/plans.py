"""A plan of the sessions that would narrow the uncertainty between teams most."""

from datetime import datetime
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from api.models.core.statements import Statement


class PlanStep(Statement):
    """One session, worth most after those before it."""

    kind: Literal["reference", "visit", "visit_day"]
    bench_id: Annotated[str | None, Field(description="Null for a bench the key may not see.")]
    team_ids: Annotated[list[str], Field(description="Who would travel, as far as shown.")]
    joins: Annotated[int, Field(description="Teams that nothing joins to the others before it.")]
    doubt_before_pct: Annotated[
        float, Field(description="Of the difference of two teams, k = 1, mean over pairs. [%]")
    ]
    doubt_after_pct: float


class SeasonPlan(BaseModel):
    """The cheapest sessions first, and what one visit day of all would bring instead."""

    season_id: str
    as_of: datetime
    revision: int
    teams: int
    doubt_pct: float | None
    steps: list[PlanStep]
    visit_day: PlanStep | None
    reason: Annotated[str | None, Field(description="Why there is no plan, if so.")]


class PlanQuery(BaseModel):
    """The query of a plan."""

    model_config = ConfigDict(extra="forbid")

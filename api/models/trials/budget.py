"""The uncertainty budget of a trial: what its power is uncertain by, term by term."""

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from api.models.core.statements import Statement


class BudgetTermRead(BaseModel):
    """One line of the budget."""

    term: Literal[
        "runs", "session", "wind_exponent", "density_exponent", "wind_meter", "wind_profile",
        "fan_setting", "voltage", "load", "air_density",
    ]  # fmt: skip
    name: Annotated[str, Field(description="The term in words.")]
    part: Annotated[
        Literal["own", "bench"],
        Field(description="Of this trial only, or shared by all trials at the bench."),
    ]
    u_input: Annotated[
        float, Field(description="Standard uncertainty: relative, or of an exponent as it is. [-]")
    ]
    sensitivity: Annotated[
        float, Field(description="What ln power changes by per unit of ln input, or of exponent.")
    ]
    u_pct: Annotated[float, Field(description="The product, in size. [% of power]")]
    share_pct: Annotated[float, Field(description="Part of the combined variance. [%]")]


class UncertaintyBudget(Statement):
    """What a trial's normalised power is uncertain by, the largest term first."""

    trial_id: str
    normalised_power_w: float | None
    interval_w: tuple[float, float] | None
    u_total_pct: Annotated[float | None, Field(description="k = 1. [%]")]
    terms: Annotated[
        list[BudgetTermRead],
        Field(description="Their squares add up to that of `u_total_pct`; none without a power."),
    ]

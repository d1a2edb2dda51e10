"""The safety figures of a build."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class SafetyQuery(BaseModel):
    """In which wind."""

    model_config = ConfigDict(extra="forbid")

    wind_speed_m_s: Annotated[
        float | None,
        Field(
            ge=0.3,
            le=20,
            allow_inf_nan=False,
            description="Left out: the highest wind its trials saw, or the season's reference. "
            "[m/s]",
        ),
    ] = None


class SafetyRead(BaseModel):
    """What a build does when its load falls off in the highest wind; null is not known."""

    build_id: str
    wind_speed_m_s: float
    runaway_speed_rpm: float
    runaway_tip_speed_m_s: float
    balance_radius_m: float
    blade_force_n: float | None
    blade_weights: Annotated[float, Field(description="That force in weights of the blade. [-]")]
    blade_energy_j: float | None
    pull_test_n: Annotated[
        float | None, Field(description="What each blade must hold, pulled along its axis. [N]")
    ]
    thrust_n: float
    tipping_ratio: Annotated[
        float | None,
        Field(description="Moment of weight over that of wind; below 1.5 it may fall."),
    ]
    needs_guard: Annotated[
        bool, Field(description="Tip speed above 40 m/s or energy above 2 J: defaults of this "
                                "project, no standard.")
    ]  # fmt: skip
    sentences: list[str]
    cautions: list[str]

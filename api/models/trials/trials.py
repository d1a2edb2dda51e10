"""A trial: one setting of one build in a session, with its runs and its result."""

from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field, model_validator
from sqlalchemy import JSON
from sqlmodel import Field as Column
from sqlmodel import Index, SQLModel, String, UniqueConstraint

from api.models.core.faults import fault
from api.models.core.fields import (
    ClientRef,
    Current,
    Duration,
    Load,
    MeterRange,
    Note,
    Pitch,
    Reason,
    RotorDiameter,
    RotorSpeed,
    SampleRate,
    Voltage,
    WindSpeed,
)
from api.models.core.ids import BuildId, EquipmentId, SessionId
from api.models.core.shapes import (
    JSON_OR_NULL,
    Answer,
    AsTyped,
    Input,
    Stored,
    Untabled,
    changes_of,
)
from api.models.measurements.flags import FlagRead

TrialKind = Literal[
    "record", "pitch", "load", "wind", "reference", "open_circuit", "visit", "event"
]
TrialState = Literal["accepted", "held", "withdrawn"]
MOST_RUNS = 50
MOST_SAMPLES, MOST_SAMPLES_OF_TRIAL = 20_000, 60_000


class RunFacts(SQLModel):
    """The fields that all shapes of a run have."""

    voltage_v: Voltage | None = None
    current_a: Current | None = None
    rotor_speed_rpm: RotorSpeed | None = None
    wind_speed_m_s: WindSpeed | None = None
    duration_s: Duration | None = None


class RunCreate(RunFacts, Input):
    """One reading of a setting: what the display showed, or a logger's series."""

    series_voltage_v: Annotated[
        list[Voltage] | None,
        Field(
            min_length=2,
            max_length=MOST_SAMPLES,
            description="Logged voltages at equal steps of time; power is the mean of squares. [V]",
        ),
    ] = None
    sample_rate_hz: SampleRate | None = None

    @model_validator(mode="after")
    def has_a_reading(self) -> "RunCreate":
        """Refuse a run that read nothing, or that gives volts twice."""
        if self.voltage_v is not None and self.series_voltage_v is not None:
            raise fault("twice", "fault.volts_twice")
        if all(each is None for each in (self.voltage_v, self.series_voltage_v, self.current_a)):
            raise fault("no_reading", "fault.no_reading")
        return self


class Run(RunFacts, table=True):
    """A stored run."""

    __tablename__ = "run"

    trial_id: str = Column(foreign_key="trial.id", primary_key=True)
    number: int = Column(primary_key=True)
    series_voltage_v: list[float] | None = Column(default=None, sa_type=JSON_OR_NULL)
    sample_rate_hz: float | None = None
    mean_square_voltage_v2: float | None = None
    series_variation: float | None = None
    series_drift: float | None = None
    series_block_variation: float | None = None
    as_typed: AsTyped = Column(default_factory=dict, sa_type=JSON)


class RunRead(RunFacts, Untabled):
    """A run as stored."""

    number: int
    series_voltage_v: list[float] | None
    sample_rate_hz: float | None
    as_typed: AsTyped


class TrialFacts(SQLModel):
    """The fields that all shapes of a trial have."""

    session_id: SessionId = Column(foreign_key="session.id", index=True)
    build_id: BuildId = Column(foreign_key="build.id")
    kind: TrialKind = Column(
        sa_type=String,
        description="record counts for the season; pitch, load and wind are sweeps; reference is "
        "the reference rotor; open_circuit gives no power; visit is away from home; event is the "
        "event's.",
    )
    pitch_deg: Pitch | None = None
    pitch_after_deg: Pitch | None = Column(
        default=None, description="Measured again after the runs: more than 2° off holds the trial."
    )
    blade_pitches_deg: Annotated[list[Pitch], Field(min_length=1, max_length=24)] | None = Column(
        default=None, sa_type=JSON_OR_NULL, description="Each blade's pitch. [°]"
    )
    load_ohm: Load | None = None
    load_connected: Annotated[bool, Field(strict=True)] | None = Column(
        default=None, description="Whether the resistor was connected while the volts were read."
    )
    load_id: EquipmentId | None = Column(default=None, foreign_key="equipment.id", index=True)
    meter_range_v: MeterRange | None = None
    wind_speed_m_s: WindSpeed | None = Column(
        default=None, description="Only if it differs from the session's, as in a wind sweep. [m/s]"
    )
    rotor_diameter_m: RotorDiameter | None = Column(
        default=None,
        description="As read on the trial sheet; the build's record is calculated with. [m]",
    )
    client_ref: ClientRef | None = Column(
        default=None, description="Your own name for the trial; sent again it is stored once."
    )
    note: Note | None = None


def _few_samples(runs: list[RunCreate]) -> list[RunCreate]:
    """Refuse series that together are more than a trial of three long ones."""
    if sum(len(run.series_voltage_v or ()) for run in runs) > MOST_SAMPLES_OF_TRIAL:
        raise fault("too_many_samples", "fault.too_many_samples", most=MOST_SAMPLES_OF_TRIAL)
    return runs


Runs = Annotated[
    list[RunCreate], Field(min_length=1, max_length=MOST_RUNS), AfterValidator(_few_samples)
]


class Trial(TrialFacts, Stored, table=True):
    """A stored trial; `organisation_id` is its team's, or the bench's for a reference rotor."""

    __tablename__ = "trial"
    prefix: ClassVar[str] = "trl"
    __table_args__ = (
        UniqueConstraint("build_id", "client_ref", "organisation_id"),
        Index("ix_trial_season_id_id", "season_id", "id"),
    )

    organisation_id: str = Column(foreign_key="organisation.id", index=True)
    season_id: str = Column(foreign_key="season.id")
    import_id: str | None = Column(default=None, foreign_key="import_batch.id", index=True)
    state: str = "accepted"
    submitted_digest: str = Column(
        default="", index=True, description="Of the facts as first submitted."
    )


class TrialCreate(TrialFacts, Input):
    """A trial to submit."""

    runs: Runs


class Correction(Input):
    """Corrected facts of a trial, with the reason; runs, if given, replace all of its runs."""

    reason: Reason
    changes: "TrialChanges"


@changes_of(
    TrialFacts,
    "session_id",
    "build_id",
    "kind",
    "pitch_deg",
    "pitch_after_deg",
    "blade_pitches_deg",
    "load_ohm",
    "load_connected",
    "load_id",
    "meter_range_v",
    "wind_speed_m_s",
    "rotor_diameter_m",
    "note",
)
class TrialChanges(Input):
    """What a correction may change of a trial."""

    runs: Runs | None = None


Correction.model_rebuild()


class Withdrawal(Input):
    """Why a trial is taken out; it stays readable."""

    reason: Reason


class Confirmation(Input):
    """Why a trial is right that the rest of the season does not expect."""

    reason: Reason


class Reinstatement(Input):
    """Why a withdrawn trial counts after all."""

    reason: Reason


@changes_of(TrialFacts, "note")
class TrialUpdate(Input):
    """What may change of a trial; measured values are corrected, never overwritten."""


class TrialResult(Untabled):
    """What follows from a trial's facts. All `u_…` are relative standard uncertainties (k = 1)."""

    power_w: Annotated[float | None, Field(description="Geometric mean over the runs. [W]")]
    run_count: int
    air_density_kg_m3: float
    air_density_source: Annotated[
        str, Field(description="measured, altitude (standard pressure) or assumed")
    ]
    wind_speed_m_s: float | None
    wind_speed_source: Annotated[
        str | None, Field(description="trial, runs, session or grid: where the wind speed is from")
    ]
    wind_power_w: float | None
    power_coefficient: float | None
    rotor_speed_rpm: float | None
    rotor_speed_source: Annotated[str | None, Field(description="measured or from_voltage")]
    tip_speed_ratio: float | None
    specific_power_w_m2: Annotated[
        float | None, Field(description="Normalised power over swept area. [W/m²]")
    ]
    normalised_power_w: Annotated[
        float | None, Field(description="Power at the season's reference wind and air. [W]")
    ]
    normalised_power_cubic_w: Annotated[
        float | None, Field(description="What the textbook's cube rule would give. [W]")
    ]
    wind_exponent: float
    wind_exponent_source: Literal["default", "own"]
    density_exponent: float
    u_own: float | None
    u_bench: float | None
    u_total: float | None
    interval_w: Annotated[tuple[float, float] | None, Field(description="k = 2, about 95 %. [W]")]
    normalisation: Annotated[
        str | None, Field(description="direct, default, provisional or out_of_range")
    ]
    reason: Annotated[
        str | None, Field(description="Why there is no normalised power, if there is none.")
    ]


class TrialRead(TrialFacts, Answer):
    """A trial as stored, with its result and what the data checks found."""

    organisation_id: str
    season_id: str
    import_id: str | None
    revision: Annotated[
        int, Field(description="The season's revision that the result was computed at.")
    ]
    state: TrialState
    runs: list[RunRead]
    result: TrialResult
    flags: list[FlagRead]

"""The day of an event: its run order, its official runs, and its results."""

from datetime import datetime
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, Field, model_validator
from sqlalchemy import JSON
from sqlmodel import Field as Column
from sqlmodel import SQLModel, UniqueConstraint

from api.models.core.faults import fault
from api.models.core.fields import BestOf, Load, MeterRange, Moment, Note, Pitch
from api.models.core.ids import BuildId, SessionId
from api.models.core.shapes import Answer, Input, Stored
from api.models.core.statements import Statement
from api.models.trials.trials import MOST_RUNS, RunCreate

MOST_SLOTS = 2000
Position = Annotated[int, Field(strict=True, ge=1, le=MOST_SLOTS)]
RunOutcome = Literal["ok", "did_not_finish", "run_again"]


class Drawing(Input):
    """How to draw an order."""

    seed: Annotated[
        int | None,
        Field(strict=True, ge=0, le=2**31 - 1, description="Left out, one is drawn and kept."),
    ] = None
    attempts: Annotated[BestOf | None, Field(description="Left out, the event's best_of.")] = None
    reference_every: Annotated[
        int, Field(strict=True, ge=1, le=50, description="Runs between two of the reference rotor.")
    ] = 6


class RunOrder(Stored, table=True):
    """A stored order; the newest of an event holds."""

    __tablename__ = "run_order"
    prefix: ClassVar[str] = "rord"

    event_id: str = Column(foreign_key="event.id", index=True)
    season_id: str = Column(foreign_key="season.id", index=True)
    seed: int
    slots: list[dict[str, Any]] = Column(sa_type=JSON)


class SlotRead(BaseModel):
    """One place in the order."""

    position: int
    attempt: int
    block: int
    team_id: str | None
    words: Annotated[str, Field(description="Whose turn it is.")]


class RunOrderRead(Answer):
    """An order as drawn."""

    event_id: str
    seed: Annotated[int, Field(description="The same seed and teams give the same order.")]
    slots: list[SlotRead]


class EventTrial(Input):
    """What was read in an official run."""

    pitch_deg: Pitch | None = None
    load_ohm: Load
    load_connected: bool
    meter_range_v: MeterRange | None = None
    runs: Annotated[list[RunCreate], Field(min_length=1, max_length=MOST_RUNS)]


class EventRunCreate(Input):
    """One official run."""

    position: Position
    build_id: BuildId
    outcome: RunOutcome = "ok"
    run_at: Moment | None = None
    protest: Note | None = None
    trial: Annotated[
        EventTrial | None, Field(description="What was read; for a run that did not finish, none.")
    ] = None

    @model_validator(mode="after")
    def is_read_where_it_finished(self) -> "EventRunCreate":
        """Refuse a finished run without a reading, and a reading of none."""
        if (self.outcome == "ok") != (self.trial is not None):
            raise fault("trial", "fault.run_without_trial")
        return self


class ResultsCreate(Input):
    """Official runs of one session."""

    session_id: SessionId
    runs: Annotated[list[EventRunCreate], Field(min_length=1, max_length=MOST_SLOTS)]


class EventRun(Stored, table=True):
    """A stored official run; its readings are a trial."""

    __tablename__ = "event_run"
    prefix: ClassVar[str] = "erun"
    __table_args__ = (UniqueConstraint("event_id", "position"),)

    event_id: str = Column(foreign_key="event.id", index=True)
    season_id: str = Column(foreign_key="season.id", index=True)
    organisation_id: str | None = Column(default=None, foreign_key="organisation.id", index=True)
    build_id: str = Column(foreign_key="build.id", index=True)
    trial_id: str | None = Column(default=None, foreign_key="trial.id", index=True)
    position: int
    outcome: str
    run_at: datetime | None = None
    protest: str | None = None


class OfficialRun(BaseModel):
    """One run of the day; nobody is named whose school does not share."""

    position: int
    team_id: str | None
    team_name: Annotated[str, Field(description="The team, 'reference rotor', or 'another team'.")]
    build_number: int | None
    outcome: RunOutcome
    power_w: float | None
    corrected_power_w: Annotated[
        float | None, Field(description="With the day's drift taken off. [W]")
    ]
    state: Annotated[str | None, Field(description="held: a data check waits for an answer.")]


class Drift(Statement):
    """How far the reference rotor moved in one session."""

    session_id: str
    reference_runs: int
    drift_pct: float | None
    needs_decision: bool


class Placed(BaseModel):
    """A team's place."""

    place: int
    places: Annotated[
        tuple[int, int] | None,
        Field(description="The best and the worst place that the uncertainty leaves open (95 %)."),
    ] = None
    team_id: str | None
    team_name: str
    best_w: Annotated[float | None, Field(description="Null for a team that is not shown. [W]")]
    interval_w: Annotated[
        tuple[float, float] | None,
        Field(description="k = 2, without what all runs of the bench share. [W]"),
    ] = None
    runs: int


class EventResults(SQLModel):
    """What came out of the day."""

    event_id: str
    as_of: datetime
    best_of: int
    drift_decision: str | None
    drifts: list[Drift]
    runs: list[OfficialRun]
    places: Annotated[
        list[Placed] | None, Field(description="Withheld while officials have to decide.")
    ]
    sentence: str
    reason: str | None

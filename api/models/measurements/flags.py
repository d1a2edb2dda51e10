"""A flag: the finding of a data check on a trial or its session, with its answer."""

from datetime import datetime
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, Field, ValidationInfo, field_validator
from sqlmodel import Field as Column
from sqlmodel import SQLModel, UniqueConstraint

from api.models.core.faults import fault
from api.models.core.fields import Reason
from api.models.core.ids import FlagId, SeasonId, SessionId, TeamId, TrialId
from api.models.core.shapes import JSON_OR_NULL, Answer, Input, ListQuery, Stored

Severity = Literal["block", "hold", "warn", "info"]
FlagState = Literal["open", "cleared", "corrected", "confirmed", "withdrawn"]
FlagAnswer = Literal["accept_fix", "confirm", "withdraw_trial"]


class FlagFacts(SQLModel):
    """The fields that all shapes of a flag have."""

    trial_id: str | None = Column(default=None, foreign_key="trial.id", index=True)
    session_id: str | None = Column(
        default=None,
        foreign_key="session.id",
        index=True,
        description="For a flag of a whole session; its trials wait with it.",
    )
    season_id: str = Column(foreign_key="season.id", index=True)
    organisation_id: str = Column(foreign_key="organisation.id", index=True)
    rule: str
    severity: str
    proposed_fix: dict[str, Any] | None = Column(
        default=None,
        sa_type=JSON_OR_NULL,
        description="What `accept_fix` would do: `thing` and its `changes`, or a factor for the "
        "readings of its runs, `scale_volts` or `scale_wind`, of one `run` where it is named. "
        "Nothing is changed without an answer.",
    )
    state: str = "open"
    reason: str | None = None
    answered_by: str | None = None
    answered_at: datetime | None = None


class Flag(FlagFacts, Stored, table=True):
    """A stored flag; `rebuild` computes it again, but its answer is a fact."""

    __tablename__ = "flag"

    facts: dict[str, Any] = Column(
        default_factory=dict,
        sa_type=JSON_OR_NULL,
        nullable=False,
        sa_column_kwargs={"server_default": "{}"},
        description="What its sentences are made from, in any language.",
    )
    seen: str | None = Column(
        default=None, description="What the check saw: a confirmation is about this and no more."
    )
    prefix: ClassVar[str] = "flg"
    __table_args__ = (
        UniqueConstraint("trial_id", "rule"),
        UniqueConstraint("session_id", "rule"),
    )


class FlagRead(FlagFacts, Answer):
    """A flag as it stands."""

    severity: Severity
    message: str
    advice: str
    state: FlagState
    about: Annotated[
        str,
        Field(
            description="Team, build, day and bench it speaks of, in words; empty within the trial "
            "itself."
        ),
    ] = ""


class FlagQuery(ListQuery):
    """Which flags to list; those that no longer hold are left out unless asked for."""

    organisation_id: str | None = None
    season_id: SeasonId | None = None
    team_id: Annotated[
        TeamId | None,
        Field(description="Of its trials and of their sessions."),
    ] = None
    trial_id: TrialId | None = None
    session_id: SessionId | None = None
    rule: str | None = None
    severity: Severity | None = None
    state: FlagState | None = None

    def column_filters(self) -> dict[str, Any]:
        """Return the filters by columns of the flag itself."""
        return {name: value for name, value in self.filters().items() if name != "team_id"}


class FlagAnswerCreate(Input):
    """What somebody answers to a flag."""

    answer: FlagAnswer
    reason: Annotated[
        Reason | None,
        Field(description="Needed to confirm and to withdraw.", validate_default=True),
    ] = None

    @field_validator("reason")
    @classmethod
    def tells_why(cls, reason: str | None, answer: ValidationInfo) -> str | None:
        """Refuse a confirmation or a withdrawal without a reason."""
        if reason is None and answer.data.get("answer") in ("confirm", "withdraw_trial"):
            raise fault("reason_missing", "fault.reason_missing")
        return reason


class FlagAnswersCreate(FlagAnswerCreate):
    """One answer to several flags, such as one slip in all trials of a session."""

    flag_ids: Annotated[list[FlagId], Field(min_length=1, max_length=100)]


class FlagAnswers(BaseModel):
    """The flags as they were answered, in the order they were named."""

    items: list[FlagRead]

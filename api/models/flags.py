"""A flag: what a data check found in a trial, and its answer."""

from typing import Any, ClassVar

from sqlmodel import Field as Column
from sqlmodel import UniqueConstraint

from api.models.shapes import JSON_OR_NULL, Stored


class Flag(Stored, table=True):
    """A stored flag; found again by `rebuild`, while its answer is a fact."""

    __tablename__ = "flag"
    prefix: ClassVar[str] = "flg"
    __table_args__ = (UniqueConstraint("trial_id", "rule"),)

    trial_id: str = Column(foreign_key="trial.id")
    rule: str
    severity: str
    message: str
    advice: str
    proposed_fix: dict[str, Any] | None = Column(default=None, sa_type=JSON_OR_NULL)
    state: str = "open"

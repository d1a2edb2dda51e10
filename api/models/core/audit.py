"""The audit log: entries are added, never changed, and each is sealed to the one before."""

from typing import Annotated, Any, ClassVar

from pydantic import Field
from sqlmodel import Field as Column
from sqlmodel import Index, SQLModel, UniqueConstraint

from api.models.core.ids import SeasonId
from api.models.core.shapes import JSON_OR_NULL, ListQuery, Recorded, RecordedAnswer


class AuditFacts(SQLModel):
    """The fields of an audit entry."""

    season_id: str | None = None
    organisation_id: str | None = None
    thing: Annotated[str, Field(description="Kind of thing: trial, session, build, …")]
    thing_id: str
    action: Annotated[
        str,
        Field(
            description="created, changed, corrected, withdrawn, answered, imported, undone, …",
        ),
    ]
    changes: dict[str, Any] | None = Column(
        default=None, sa_type=JSON_OR_NULL, description="Each field's value before and after."
    )
    reason: str | None = None
    key_id: str
    key_label: str


class AuditEntry(AuditFacts, Recorded, table=True):
    """A stored entry; `chain` is its season's, or the programme's where it has none."""

    __tablename__ = "audit_entry"
    prefix: ClassVar[str] = "aud"
    __table_args__ = (
        UniqueConstraint("chain", "number"),
        Index("ix_audit_entry_thing_id_id", "thing_id", "id"),
        Index("ix_audit_entry_season_id_id", "season_id", "id"),
    )

    chain: str
    number: int
    previous_seal: str
    seal: str
    erasure_id: str | None = Column(
        default=None, description="What emptied it of words; its place in the chain is kept."
    )


class AuditChain(SQLModel, table=True):
    """The last entry of a chain: what is cut off at its end is missed by this."""

    __tablename__ = "audit_chain"

    chain: str = Column(primary_key=True)
    number: int
    seal: str


class AuditRead(AuditFacts, RecordedAnswer):
    """An entry as it was written."""


class AuditQuery(ListQuery):
    """Which entries to list."""

    season_id: SeasonId | None = None
    thing: str | None = None
    action: str | None = None
    key_id: str | None = None


class HistoryQuery(ListQuery):
    """The paging of a change history."""

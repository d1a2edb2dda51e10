"""A share link: a page of a team, a season or an event, or a calendar, to read without a key."""

from datetime import datetime
from typing import Annotated, ClassVar, Literal

from pydantic import Field
from sqlalchemy import false
from sqlmodel import Field as Column
from sqlmodel import SQLModel

from api.models.core.ids import EventId, SeasonId, TeamId
from api.models.core.shapes import Answer, Input, ListQuery, Stored

Days = Annotated[int, Field(strict=True, ge=1, le=366, description="How long the link is good.")]


class ShareFacts(SQLModel):
    """The fields that all shapes of a share link have: what it is about, and its season."""

    team_id: TeamId | None = Column(default=None, foreign_key="team.id", index=True)
    event_id: EventId | None = Column(default=None, foreign_key="event.id", index=True)
    season_id: SeasonId = Column(foreign_key="season.id", index=True)
    calendar: bool = Column(
        default=False,
        sa_column_kwargs={"server_default": false()},
        description="Whether it is the calendar of a season, for a calendar program.",
    )


class Share(ShareFacts, Stored, table=True):
    """A stored link: the digest of its secret, and whose key made it."""

    __tablename__ = "share"
    prefix: ClassVar[str] = "shr"

    key_id: str = Column(foreign_key="access_key.id", index=True)
    organisation_id: str | None = Column(default=None, foreign_key="organisation.id", index=True)
    digest: str = Column(unique=True)
    expires_at: datetime
    revoked_at: datetime | None = None


class ShareCreate(Input):
    """A link to make: of a team, of a season or its calendar, or of an event's board."""

    team_id: TeamId | None = None
    season_id: SeasonId | None = None
    event_id: EventId | None = None
    calendar: bool = False
    days: Days = 30


class ShareRead(ShareFacts, Answer):
    """A link as stored; its address is not kept and cannot be shown again."""

    expires_at: datetime
    revoked_at: datetime | None
    state: Literal["open", "expired", "revoked"]
    about: Annotated[str, Field(description="Whose page it shows, in words.")]


class ShareMade(ShareRead):
    """A new link with its secret, shown this once."""

    token: str


class ShareQuery(ListQuery):
    """Which links to list."""

    team_id: TeamId | None = None
    event_id: EventId | None = None
    season_id: SeasonId | None = None

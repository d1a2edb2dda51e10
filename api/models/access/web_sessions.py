"""A web session: a browser that signed in with a key."""

from datetime import datetime

from sqlmodel import Field as Column
from sqlmodel import SQLModel


class WebSession(SQLModel, table=True):
    """A signed-in browser; its secret is stored as a digest, and it ends with its key."""

    __tablename__ = "web_session"

    digest: str = Column(primary_key=True)
    key_id: str = Column(foreign_key="access_key.id", index=True)
    created_at: datetime
    seen_at: datetime
    last_trial_id: str | None = Column(
        default=None, description="What was entered last: the next form begins from it."
    )

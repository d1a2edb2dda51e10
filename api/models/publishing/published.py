"""Published trials, for several hosts on one database server."""

from sqlmodel import Field as Column
from sqlmodel import SQLModel


class PublishedTrials(SQLModel, table=True):
    """The published trials that keys see at one revision of a season.

    The row that `shows` its own revision shows the trials of that moment. It has them as `content`,
    unless others' trials are the same as in the newest row before it that has.
    """

    __tablename__ = "published_trials"

    season_id: str = Column(primary_key=True)
    revision: int = Column(primary_key=True)
    shows: int
    taken_at_s: float
    content: bytes | None = None
    #: What tells the states in which trials were ever published, eight bytes each.
    states: bytes | None = None

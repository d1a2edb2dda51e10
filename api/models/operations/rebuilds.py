"""Seasons whose conclusions are to be found again, because the schema changed under them."""

from sqlmodel import Field as Column
from sqlmodel import SQLModel


class RebuildDue(SQLModel, table=True):
    """A season that still waits; noted together with the change, removed by its own rebuild."""

    __tablename__ = "rebuild_due"

    season_id: str = Column(primary_key=True)

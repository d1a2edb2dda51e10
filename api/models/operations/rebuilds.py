"""Seasons to rebuild after a change of the schema."""

from sqlmodel import Field as Column
from sqlmodel import SQLModel


class RebuildDue(SQLModel, table=True):
    """A season to rebuild; noted with the change, and removed by its own rebuild."""

    __tablename__ = "rebuild_due"

    season_id: str = Column(primary_key=True)

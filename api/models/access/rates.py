"""Counts within windows of time, which several processes share."""

from sqlmodel import Field as Column
from sqlmodel import SQLModel


class RateCount(SQLModel, table=True):
    """One count; what is over is cleared away by the next window."""

    __tablename__ = "rate_count"

    name: str = Column(primary_key=True)
    window: int = Column(primary_key=True)
    window_s: int
    count: int

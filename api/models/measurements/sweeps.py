"""The cache of fitted wind sweeps, so that a result need not read the sweep."""

from sqlmodel import Field as Column
from sqlmodel import SQLModel


class WindSweep(SQLModel, table=True):
    """The fitted wind exponent of a build in a season; `rebuild` computes it again."""

    __tablename__ = "wind_sweep"

    build_id: str = Column(foreign_key="build.id", primary_key=True)
    season_id: str = Column(foreign_key="season.id", primary_key=True, index=True)
    exponent: float
    standard_error: float
    slowest_m_s: float
    fastest_m_s: float

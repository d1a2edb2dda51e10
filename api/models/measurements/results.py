"""The cache of trial results, so that pages and seasons need not read the runs."""

from sqlmodel import Field as Column
from sqlmodel import SQLModel


class CachedResult(SQLModel, table=True):
    """The cached result of a trial that was not withdrawn; `rebuild` computes it again.

    `numbers` are eight bytes each, in the order of `services.results.PACKED`. A result of another
    `formula` than the current one is ignored.
    """

    __tablename__ = "trial_result"
    __table_args__ = {"sqlite_with_rowid": False}  # looked up by trial only

    trial_id: str = Column(foreign_key="trial.id", primary_key=True, ondelete="CASCADE")
    formula: int
    numbers: bytes
    air_density_source: str
    wind_speed_source: str
    rotor_speed_source: str
    normalisation: str
    reason: str

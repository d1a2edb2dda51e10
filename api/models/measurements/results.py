"""What trials come to: a cache of results, so that pages and seasons need no readings."""

from sqlmodel import Field as Column
from sqlmodel import SQLModel


class KeptResult(SQLModel, table=True):
    """The result of a trial that was not withdrawn; found again by `rebuild`.

    `numbers` are eight bytes each, in the order of `services.results.PACKED`; what was found by
    another `formula` than today's is not looked at.
    """

    __tablename__ = "trial_result"
    __table_args__ = {"sqlite_with_rowid": False}  # found by the trial alone

    trial_id: str = Column(foreign_key="trial.id", primary_key=True, ondelete="CASCADE")
    formula: int
    numbers: bytes
    air_density_source: str
    wind_speed_source: str
    rotor_speed_source: str
    normalisation: str
    reason: str

"""What recent writes changed, for all processes on one database server."""

from sqlmodel import Field as Column
from sqlmodel import SQLModel

from api.models.core.shapes import JSON_OR_NULL


class SeasonChange(SQLModel, table=True):
    """One committed write to a season, as `api.services.core.changes.Change` describes it."""

    __tablename__ = "season_change"

    season_id: str = Column(primary_key=True)
    revision: int = Column(primary_key=True)
    before: int
    only_trials: bool
    keys: list[str] = Column(sa_type=JSON_OR_NULL)
    organisations: list[str] | None = Column(default=None, sa_type=JSON_OR_NULL)
    benches: list[str] | None = Column(default=None, sa_type=JSON_OR_NULL)
    #: When it was written, by the writer's clock. [s since 1970]
    at_s: float

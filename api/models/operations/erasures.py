"""Records of erasures: when, and how many rows, without their contents."""

from typing import Annotated, Any, ClassVar, Literal

from pydantic import Field
from sqlalchemy import JSON
from sqlmodel import Field as Column
from sqlmodel import String

from api.models.core.shapes import Stored

Erased = Literal["season", "organisation"]


class Erasure(Stored, table=True):
    """A stored erasure; audit entries are erased only by one of these."""

    __tablename__ = "erasure"
    prefix: ClassVar[str] = "ers"

    kind: Erased = Column(sa_type=String)
    erased_id: Annotated[str, Field(description="The id of what is gone.")] = Column(index=True)
    rows: dict[str, Any] = Column(default_factory=dict, sa_type=JSON)

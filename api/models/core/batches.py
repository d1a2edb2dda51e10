"""Several things of one kind in one request, and in its answer."""

from typing import Annotated, Generic, TypeVar

from pydantic import BaseModel, ConfigDict, Field

Item = TypeVar("Item")
#: Large enough for the teams of a region; one writer works on them for about a second.
MOST_ITEMS = 200


class Batch(BaseModel, Generic[Item]):
    """Several things of one kind: all are stored, or none; the answer has the same order."""

    model_config = ConfigDict(extra="forbid")

    items: Annotated[list[Item], Field(min_length=1, max_length=MOST_ITEMS)]

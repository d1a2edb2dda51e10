"""One page of a list."""

from typing import Annotated, Generic, TypeVar

from pydantic import BaseModel, Field

Item = TypeVar("Item")


class Page(BaseModel, Generic[Item]):
    """One page of a list; the `Link` header names the next one too."""

    items: list[Item]
    next: Annotated[str | None, Field(description="Cursor of the next page, or null at the end.")]
    total: Annotated[
        int | None, Field(description="How many things all pages have, if the query asks for it.")
    ] = None

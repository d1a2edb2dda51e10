"""What a document is made of, whatever it is shown as."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from api.services.reporting.documents.charts import Chart


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; `level` 2 begins a part, 3 a part of it."""

    words: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph: plain, callout (what matters) or quiet (how to read it)."""

    words: str
    tone: str = "plain"


@dataclass(frozen=True, slots=True)
class Items:
    """Short things one under the other."""

    words: Sequence[str]


@dataclass(frozen=True, slots=True)
class Table:
    """A table; the first column names the row.

    `links` are the rows' own pages, one a row, for where there is somebody to follow them.
    """

    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    caption: str = ""
    links: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Plot:
    """A chart with the numbers it was drawn from."""

    chart: Chart
    table: Table


Block = Heading | Text | Items | Table | Plot


@dataclass(frozen=True, slots=True)
class Document:
    """A report: what it is, as of when, its blocks, and cautions at its foot."""

    title: str
    subtitle: str
    as_of: datetime
    blocks: Sequence[Block]
    cautions: Sequence[str] = ()
    name: str = "report"


@dataclass(slots=True)
class Builder:
    """Blocks in the making."""

    blocks: list[Block] = field(default_factory=list)

    def add(self, *blocks: Block | None) -> None:
        """Add blocks; what is nothing is left out."""
        self.blocks += [block for block in blocks if block is not None]

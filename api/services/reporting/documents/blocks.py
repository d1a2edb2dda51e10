"""The blocks of a document, in any format."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from api.services.reporting.charts.chart import Chart


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; `level` 2 begins a part, 3 a part of it."""

    words: str
    level: int = 2


@dataclass(frozen=True, slots=True)
class Text:
    """A paragraph: plain, answer or number (large), callout (what matters), quiet (a note)."""

    words: str
    tone: str = "plain"


@dataclass(frozen=True, slots=True)
class Items:
    """A list of short items."""

    words: Sequence[str]


@dataclass(frozen=True, slots=True)
class Table:
    """A table; the first column names the row.

    `links` are the addresses of the rows' pages, one per row, for readers who are signed in. With
    `dull` words, those that say nothing special, a phone shows a row in a line or two, without
    cells that have such words or repeat the one before.
    """

    columns: Sequence[str]
    rows: Sequence[Sequence[str]]
    caption: str = ""
    links: Sequence[str] = ()
    dull: Sequence[str] = ()


@dataclass(frozen=True, slots=True)
class Plot:
    """A chart with the numbers it was drawn from."""

    chart: Chart
    table: Table


Block = Heading | Text | Items | Table | Plot


@dataclass(frozen=True, slots=True)
class Document:
    """A report: its title, its time, its blocks, and the cautions at its foot."""

    title: str
    subtitle: str
    as_of: datetime
    blocks: Sequence[Block]
    cautions: Sequence[str] = ()
    name: str = "report"


@dataclass(slots=True)
class Builder:
    """Collects the blocks of a document."""

    blocks: list[Block] = field(default_factory=list)

    def add(self, *blocks: Block | None) -> None:
        """Add blocks; skip None and lists without an item."""
        for block in blocks:
            is_empty = isinstance(block, Items) and not block.words
            if block is not None and not is_empty:
                self.blocks.append(block)

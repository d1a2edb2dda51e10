"""A chart: its axes and marks; `drawing` draws it for a width."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from api.services.reporting.charts.axes import Axis
from api.services.reporting.charts.marks import Band, Bar, Interval, Line, Mark, Point


@dataclass(frozen=True, slots=True)
class Upright:
    """A dashed upright line at an x, with words above it: the longer ones if they have room."""

    x: float
    words: Sequence[str]


@dataclass(frozen=True, slots=True)
class EndLabel:
    """The name of a line, at its right end."""

    y: float
    name: str
    series: int


@dataclass
class Chart:
    """A chart over two axes; `description` says in a sentence what it shows.

    A chart of rows has `names`, one per row, the first on top, at y = number of the row.
    """

    title: str
    description: str
    x: Axis
    y: Axis
    names: Sequence[str] = ()
    marks: list[Mark] = field(default_factory=list)
    uprights: list[Upright] = field(default_factory=list)
    ends: list[EndLabel] = field(default_factory=list)

    def point(self, x: float, y: float, series: int = 0, words: str = "") -> None:
        """Draw a value; `words` say what it is, to be shown on request."""
        self.marks.append(Point(x, y, series, words))

    def whisker(self, x: float, low: float, high: float, series: int = 0) -> None:
        """Draw the interval of a value, upright."""
        self.marks.append(Interval(x, low, high, series))

    def span(self, y: float, low: float, high: float, series: int = 0) -> None:
        """Draw the interval of a value along its row."""
        self.marks.append(Interval(y, low, high, series, upright=False))

    def bar(self, y: float, value: float, *, is_open: bool = False) -> None:
        """Draw a bar in a row: filled, or as an outline."""
        self.marks.append(Bar(y, value, is_open))

    def line(
        self, points: Iterable[tuple[float, float]], series: int = 0, *, is_dashed: bool = False
    ) -> None:
        """Draw a line through points."""
        self.marks.append(Line(list(points), series, is_dashed))

    def band(self, low: float, high: float) -> None:
        """Shade a span of x."""
        self.marks.append(Band(low, high))

    def upright(self, x: float, *words: str) -> None:
        """Draw a dashed line at one x; of `words`, the first that have room are written above."""
        self.uprights.append(Upright(x, words))

    def end_label(self, y: float, name: str, series: int) -> None:
        """Write the name of a line at its right end."""
        self.ends.append(EndLabel(y, name, series))


def rows_chart(title: str, description: str, names: Sequence[str], x: Axis) -> Chart:
    """Return a chart with one row per name, the first on top, at y = number of the row."""
    y = Axis(len(names) - 0.5, -0.5, "", ())
    return Chart(title, description, x, y, names)

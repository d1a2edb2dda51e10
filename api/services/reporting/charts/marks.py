"""The marks of a chart, each of which draws itself into a frame."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from api.services.reporting.charts.colours import COLOURS, SHAPES
from api.services.reporting.charts.frame import Frame


@dataclass(frozen=True, slots=True)
class Point:
    """A value, in the colour and shape of its series; `words` are shown on request."""

    x: float
    y: float
    series: int = 0
    words: str = ""

    def svg(self, frame: Frame) -> str:
        """Return the mark as SVG."""
        drawn = shape_of(self.series, frame.across(self.x), frame.up(self.y))
        title = f"<title>{escape(self.words)}</title>" if self.words else ""
        return f'<g class="value">{title}{drawn}</g>' if title else drawn


@dataclass(frozen=True, slots=True)
class Interval:
    """The interval of a value: upright at an x, or along a row at a y."""

    at: float
    low: float
    high: float
    series: int = 0
    upright: bool = True

    def svg(self, frame: Frame) -> str:
        """Return the mark as SVG."""
        if self.upright:
            path = f"M{frame.across(self.at)} {frame.up(self.low)}V{frame.up(self.high)}"
        else:
            path = f"M{frame.across(self.low)} {frame.up(self.at)}H{frame.across(self.high)}"
        return f'<path class="span c{self.series % COLOURS}" d="{path}"/>'


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar from the left edge to a value, in its row: filled, or as an outline."""

    y: float
    value: float
    is_open: bool = False

    def svg(self, frame: Frame) -> str:
        """Return the mark as SVG."""
        start, end, up = frame.across(frame.x.low), frame.across(self.value), frame.up(self.y)
        return (
            f'<rect class="{"open c1" if self.is_open else "f0"}" x="{start}" y="{up - 7}" '
            f'width="{max(0.5, round(end - start, 1))}" height="14"/>'
        )


@dataclass(frozen=True, slots=True)
class Line:
    """A line through points."""

    points: Sequence[tuple[float, float]]
    series: int = 0
    is_dashed: bool = False

    def svg(self, frame: Frame) -> str:
        """Return the mark as SVG."""
        path = " ".join(f"{frame.across(x)},{frame.up(y)}" for x, y in self.points)
        dash = " dash" if self.is_dashed else ""
        return f'<polyline class="line c{self.series % COLOURS}{dash}" points="{path}"/>'


@dataclass(frozen=True, slots=True)
class Band:
    """A shaded span of x over the full height."""

    low: float
    high: float

    def svg(self, frame: Frame) -> str:
        """Return the mark as SVG."""
        start, end = frame.across(self.low), frame.across(self.high)
        height = frame.height - frame.bottom - frame.top
        return (
            f'<rect class="band" x="{start}" y="{frame.top}" width="{round(end - start, 1)}" '
            f'height="{round(height, 1)}"/>'
        )


Mark = Point | Interval | Bar | Line | Band


def shape_of(series: int, x: float, y: float) -> str:
    """Return the mark of a series at a position."""
    colour, shape = f"f{series % COLOURS}", SHAPES[series % len(SHAPES)]
    paths = {
        "square": f"M{x - 5} {y - 5}h10v10h-10z",
        "triangle": f"M{x} {y - 6}l6 11h-12z",
        "diamond": f"M{x} {y - 7}l6 7l-6 7l-6 -7z",
        "down": f"M{x} {y + 6}l6 -11h-12z",
        "cross": f"M{x - 5} {y - 5}l10 10M{x + 5} {y - 5}l-10 10",
    }
    if shape == "ring":
        return f'<circle class="ring c{series % COLOURS}" cx="{x}" cy="{y}" r="5"/>'
    if shape == "circle":
        return f'<circle class="{colour}" cx="{x}" cy="{y}" r="5"/>'
    width = ' stroke-width="2.5"' if shape == "cross" else ""
    return f'<path class="{colour}"{width} d="{paths[shape]}"/>'

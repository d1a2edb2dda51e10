"""Draw charts as SVG: colours as CSS classes, and shapes for readers who cannot see colours."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from html import escape

from api.messages.numbers import localised

WIDTH, HEIGHT = 480, 300
LEFT, RIGHT, TOP, BOTTOM = 62, 14, 28, 52
ROW = 24  # height of a row in a chart of rows
#: Colours that colour-blind readers can distinguish (Okabe and Ito 2008), in both themes.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#56B4E9", "#E69F00")
SHAPES = ("circle", "square", "triangle", "diamond", "down", "cross")
#: The style sheet of every chart; a page includes it once, an SVG file includes it itself.
STYLE = "\n".join(
    (
        ".chart text { font: 16px sans-serif; fill: currentColor; }",
        ".chart .small { font-size: 14px; }",
        ".chart .end { text-anchor: end; } .chart .mid { text-anchor: middle; }",
        ".chart .axis { stroke: currentColor; fill: none; }",
        ".chart .grid { stroke: currentColor; stroke-opacity: .18; fill: none; }",
        ".chart .dash { stroke-dasharray: 5 4; } .chart .line { fill: none; stroke-width: 2; }",
        ".chart .band { fill: currentColor; fill-opacity: .1; }",
        ".chart .open { fill: currentColor; fill-opacity: .08; stroke-width: 2; }",
        ".chart .whisker { stroke-width: 2; fill: none; }",
        *(f".chart .c{at} {{ stroke: {c}; }} .chart .f{at} {{ fill: {c}; stroke: {c}; }}"
          for at, c in enumerate(COLOURS)),
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: its span, its name with the unit, and its ticks."""

    low: float
    high: float
    name: str
    ticks: Sequence[tuple[float, str]]
    is_log: bool = False

    def share(self, value: float) -> float:
        """Return the relative position of a value on the axis, 0 to 1."""
        low, high, at = self.low, self.high, value
        if self.is_log:
            low, high, at = math.log(low), math.log(high), math.log(value)
        return (at - low) / (high - low)


def axis(values: Iterable[float], name: str, *, from_zero: bool = False) -> Axis:
    """Return an axis for values, with ticks at round numbers.

    >>> axis([0.2, 9.3], "mW", from_zero=True).ticks
    [(0.0, '0'), (2.0, '2'), (4.0, '4'), (6.0, '6'), (8.0, '8'), (10.0, '10')]
    """
    finite = [value for value in values if math.isfinite(value)]
    low, high = (min(finite), max(finite)) if finite else (0.0, 1.0)
    low = 0.0 if from_zero else low
    step = _step((high - low) or abs(high) or 1.0)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    last = max(last, first + 1)
    ticks = [(at * step, localised(at * step, ".6g")) for at in range(first, last + 1)]
    return Axis(first * step, last * step, name, ticks)


def roomy_axis(values: Sequence[float], name: str) -> Axis:
    """Return an axis with some room at both ends, so that no mark is on the other axis."""
    tight = axis(values, name)
    room = 0.05 * (tight.high - tight.low)
    return Axis(tight.low - room, tight.high + room, name, tight.ticks)


def _step(span: float) -> float:
    """Return a round step that divides a span into four to eight parts."""
    raw = span / 5
    size = 10.0 ** math.floor(math.log10(raw))
    return next(size * factor for factor in (1, 2, 2.5, 5, 10) if size * factor >= raw * 0.999)


def log_axis(values: Sequence[float], name: str) -> Axis:
    """Return a logarithmic axis with ticks at the values, as far as there is room."""
    low, high = min(values) / 1.15, max(values) * 1.15
    ticks: list[tuple[float, str]] = []
    for value in sorted(set(values)):
        if not ticks or math.log(value / ticks[-1][0]) > 0.11 * math.log(high / low):
            ticks.append((value, localised(value, ".3g")))
    return Axis(low, high, name, ticks, is_log=True)


@dataclass
class Chart:
    """A chart over two axes; `description` says in a sentence what it shows."""

    title: str
    description: str
    x: Axis
    y: Axis
    height: int = HEIGHT
    left: int = LEFT
    parts: list[str] = field(default_factory=list)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return the position of a point in the picture."""
        across = self.left + self.x.share(x) * (WIDTH - self.left - RIGHT)
        up = self.height - BOTTOM - self.y.share(y) * (self.height - BOTTOM - TOP)
        return round(across, 1), round(up, 1)

    def point(self, x: float, y: float, series: int = 0) -> None:
        """Draw a mark in the colour and shape of its series."""
        across, up = self.at(x, y)
        at = series % len(COLOURS)
        self.parts.append(_mark(SHAPES[at], across, up, f"f{at}"))

    def whisker(self, x: float, low: float, high: float, series: int = 0) -> None:
        """Draw the interval of a value, vertically."""
        across, down = self.at(x, low)
        _, up = self.at(x, high)
        self.parts.append(
            f'<path class="whisker c{series % len(COLOURS)}" '
            f'd="M{across} {down}V{up}M{across - 4} {down}h8M{across - 4} {up}h8"/>'
        )

    def span(self, y: float, low: float, high: float, series: int = 0) -> None:
        """Draw the interval of a value, horizontally."""
        start, up = self.at(low, y)
        end, _ = self.at(high, y)
        self.parts.append(
            f'<path class="whisker c{series % len(COLOURS)}" '
            f'd="M{start} {up}H{end}M{start} {up - 4}v8M{end} {up - 4}v8"/>'
        )

    def bar(self, y: float, value: float, *, is_open: bool = False) -> None:
        """Draw a bar from the left edge to a value, in its row: filled, or as an outline."""
        start, up = self.at(self.x.low, y)
        end, _ = self.at(value, y)
        self.parts.append(
            f'<rect class="{"open c1" if is_open else "f0"}" x="{start}" y="{up - 7}" '
            f'width="{max(0.5, round(end - start, 1))}" height="14"/>'
        )

    def line(self, points: Iterable[tuple[float, float]], series: int = 0, dash: str = "") -> None:
        """Draw a line through points."""
        path = " ".join(f"{x},{y}" for x, y in (self.at(*point) for point in points))
        self.parts.append(
            f'<polyline class="line c{series % len(COLOURS)} {dash}" points="{path}"/>'
        )

    def band(self, low: float, high: float) -> None:
        """Shade a span of x over the full height."""
        start, _ = self.at(max(low, self.x.low), self.y.low)
        end, _ = self.at(min(high, self.x.high), self.y.low)
        self.parts.append(
            f'<rect class="band" x="{start}" y="{TOP}" width="{max(0.0, round(end - start, 1))}" '
            f'height="{self.height - BOTTOM - TOP}"/>'
        )

    def upright(self, x: float, words: str = "") -> None:
        """Draw a dashed line at one x, with a short word above it."""
        across, _ = self.at(x, self.y.low)
        self.parts.append(
            f'<path class="grid dash" d="M{across} {TOP}V{self.height - BOTTOM}"/>'
            f'<text class="small mid" x="{across}" y="{TOP - 7}">{escape(words)}</text>'
        )

    def words(self, x: float, y: float, text: str) -> None:
        """Write text next to a point."""
        across, up = self.at(x, y)
        self.parts.append(
            f'<text class="small" x="{across + 7}" y="{up + 4}">{escape(text)}</text>'
        )

    def svg(self, *, with_style: bool = False) -> str:
        """Return the chart as SVG text, with its style sheet if it is not part of a page."""
        style = f"<style>{STYLE}</style>" if with_style else ""
        ink = ' color="#111"' if with_style else ""
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img"{ink} '
            f'viewBox="0 0 {WIDTH} {self.height}"><title>{escape(self.title)}</title>'
            f"<desc>{escape(self.description)}</desc>{style}{self._axes()}{''.join(self.parts)}</svg>"
        )

    def _axes(self) -> str:
        bottom, right = self.height - BOTTOM, WIDTH - RIGHT
        drawn = [f'<path class="axis" d="M{self.left} {TOP}V{bottom}H{right}"/>']
        for value, words in self.x.ticks:
            across, _ = self.at(value, self.y.low)
            drawn.append(f'<path class="axis" d="M{across} {bottom}v4"/>'
                         f'<text class="mid" x="{across}" y="{bottom + 21}">{escape(words)}</text>'
                         )  # fmt: skip
        for value, words in self.y.ticks:
            _, up = self.at(self.x.low, value)
            text = f'<text class="end" x="{self.left - 6}" y="{up + 5}">{escape(words)}</text>'
            drawn.append(f'<path class="grid" d="M{self.left} {up}H{right}"/>{text}')
        drawn.append(
            f'<text class="end" x="{right}" y="{self.height - 8}">{escape(self.x.name)}</text>'
        )
        if self.y.name:
            drawn.append(f'<text class="small" x="4" y="{TOP - 15}">{escape(self.y.name)}</text>')
        return "".join(drawn)


def rows_chart(title: str, description: str, names: Sequence[str], x: Axis) -> Chart:
    """Return a chart with one row per name, the first on top, at y = number of the row."""
    count = len(names)
    ticks = [(float(at), _short(name)) for at, name in enumerate(names)]
    y = Axis(count - 0.5, -0.5, "", ticks)
    return Chart(title, description, x, y, height=TOP + BOTTOM + ROW * max(1, count), left=156)


def _short(name: str, most: int = 18) -> str:
    return name if len(name) <= most else f"{name[: most - 1]}…"


def _mark(shape: str, x: float, y: float, colour: str) -> str:
    paths = {
        "square": f"M{x - 4} {y - 4}h8v8h-8z",
        "triangle": f"M{x} {y - 5}l5 9h-10z",
        "diamond": f"M{x} {y - 6}l5 6l-5 6l-5 -6z",
        "down": f"M{x} {y + 5}l5 -9h-10z",
        "cross": f"M{x - 4} {y - 4}l8 8M{x + 4} {y - 4}l-8 8",
    }
    if shape == "circle":
        return f'<circle class="{colour}" cx="{x}" cy="{y}" r="4.5"/>'
    return f'<path class="{colour}" d="{paths[shape]}"/>'

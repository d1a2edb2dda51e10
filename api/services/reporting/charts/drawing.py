"""Draw a chart as SVG for the width at which it is shown."""

from html import escape

from api.services.reporting.charts.chart import Chart
from api.services.reporting.charts.colours import COLOURS, FILE_STYLE
from api.services.reporting.charts.frame import (
    GAP,
    LINE,
    SIZE,
    Frame,
    spread_out,
    without_overlap,
)
from api.services.reporting.charts.lettering import shortened, width_of

NARROW, WIDE = 328, 720  # [px], of a chart on a phone, and on a larger screen or paper
HEIGHT = {NARROW: 250, WIDE: 320}  # of the plot without its labels
ROW = {NARROW: 46, WIDE: 28}  # of a row; on a phone its name has a line of its own
EDGE = 8  # [px], right of the plot and left of one without labels
NAMES_AT_MOST = 0.36  # of the width, for names beside the plot
MOST_LANES = 3  # lines of words above a plot
ABOVE = 8  # [px] between the words above a plot and its highest label
BOLD = 1.12  # how much wider bold letters are


def svg(chart: Chart, width: int = WIDE, *, is_file: bool = False) -> str:
    """Return a chart as SVG text for a width; a file has its own style sheet."""
    drawing = Drawing(chart, width)
    style, ink = (f"<style>{FILE_STYLE}</style>", ' color="#111"') if is_file else ("", "")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" role="img"{ink} '
        f'viewBox="0 0 {width} {drawing.frame.height}"><title>{escape(chart.title)}</title>'
        f"<desc>{escape(chart.description)}</desc>{style}{drawing.svg()}</svg>"
    )


class Drawing:
    """A chart laid out for one width."""

    def __init__(self, chart: Chart, width: int) -> None:
        self.chart, self.width = chart, width
        self.is_narrow = width < WIDE
        self.lanes = self._lanes(self._frame(0))
        self.frame = self._frame(1 + max((lane for lane, *_ in self.lanes), default=-1))

    def svg(self) -> str:
        """Return the drawing without its frame of `svg`."""
        rows = self._names() if self.chart.names else self._ticks_upwards()
        marks = "".join(mark.svg(self.frame) for mark in self.chart.marks)
        return rows + self._ticks_across() + self._uprights() + marks + self._ends()

    def _frame(self, lanes: int) -> Frame:
        chart, size = self.chart, WIDE if not self.is_narrow else NARROW
        top = 10.0 + LINE * bool(chart.y.name) + (LINE * lanes + ABOVE if lanes else 0)
        bottom = LINE + GAP + (LINE if chart.x.name else 0) + 4.0
        plot = ROW[size] * len(chart.names) if chart.names else HEIGHT[size]
        height = round(top + plot + bottom)
        return Frame(self.width, height, self._left(), self._right(), top, bottom, chart.x, chart.y)

    def _left(self) -> float:
        if self.chart.names:
            if self.is_narrow:
                return EDGE
            widest = max(width_of(name, SIZE) for name in self.chart.names) * BOLD
            return min(widest, NAMES_AT_MOST * self.width) + 2 * GAP
        labels = [width_of(text, SIZE) for _, text in self.chart.y.ticks]
        return max(labels, default=0.0) + 2 * GAP

    def _right(self) -> float:
        widest = max((width_of(each.name, SIZE) for each in self.chart.ends), default=0.0)
        return EDGE + (min(widest, NAMES_AT_MOST * self.width) + 2 * GAP if self.chart.ends else 0)

    def _ticks_across(self) -> str:
        frame, floor = self.frame, self.frame.height - self.frame.bottom
        drawn = [f'<path class="axis" d="M{frame.left} {floor}H{frame.width - frame.right}"/>']
        for value, words in without_overlap(frame, self.chart.x.ticks):
            across = frame.across(value)
            middle = frame.middle(across, words)
            drawn.append(
                f'<path class="axis" d="M{across} {floor}v5"/>'
                f'<text class="mid" x="{middle}" y="{floor + LINE}">{escape(words)}</text>'
            )
            if self.chart.names:
                drawn.append(f'<path class="grid" d="M{across} {frame.top}V{floor}"/>')
        if self.chart.x.name:
            name = shortened(self.chart.x.name, SIZE, self.width - 2 * EDGE)
            drawn.append(
                f'<text class="end unit" x="{frame.width - EDGE}" y="{floor + 2 * LINE + 2}">'
                f"{escape(name)}</text>"
            )
        return "".join(drawn)

    def _ticks_upwards(self) -> str:
        frame, right = self.frame, self.frame.width - self.frame.right
        drawn, above = [], float("inf")
        for value, words in self.chart.y.ticks:
            up = frame.up(value)
            drawn.append(f'<path class="grid" d="M{frame.left} {up}H{right}"/>')
            if above - up >= LINE:
                above = up
                drawn.append(
                    f'<text class="end" x="{frame.left - GAP}" y="{up + 5}">{escape(words)}</text>'
                )
        if self.chart.y.name:
            name = shortened(self.chart.y.name, SIZE, self.width - 2)
            drawn.append(f'<text class="unit" x="1" y="{SIZE}">{escape(name)}</text>')
        return "".join(drawn)

    def _names(self) -> str:
        frame, drawn = self.frame, []
        most = (frame.width - 2 * EDGE if self.is_narrow else frame.left - 2 * GAP) / BOLD
        for row, name in enumerate(self.chart.names):
            up, words = frame.up(row), escape(shortened(name, SIZE, most))
            full = f"<title>{escape(name)}</title>" if words != escape(name) else ""
            place = (
                f'class="name" x="{EDGE}" y="{up - 10}"' if self.is_narrow
                else f'class="name end" x="{frame.left - GAP}" y="{up + 5}"'
            )  # fmt: skip
            drawn.append(f"<text {place}>{full}{words}</text>")
        return "".join(drawn)

    def _lanes(self, frame: Frame) -> list[tuple[int, float, str]]:
        """Return the words above upright lines: the lane of each, its middle, and its text."""
        ends = [-float("inf")] * MOST_LANES
        placed = []
        for upright in sorted(self.chart.uprights, key=lambda each: each.x):
            for words in upright.words:
                half = width_of(words, SIZE) / 2
                middle = frame.middle(frame.across(upright.x), words)
                free = [lane for lane in range(MOST_LANES) if middle - half >= ends[lane] + GAP]
                if words and free and half * 2 <= self.width - 2:
                    ends[free[0]] = middle + half
                    placed.append((free[0], middle, words))
                    break
        return placed

    def _uprights(self) -> str:
        frame, floor = self.frame, self.frame.height - self.frame.bottom
        lines = "".join(
            f'<path class="grid dash" d="M{frame.across(each.x)} {frame.top}V{floor}"/>'
            for each in self.chart.uprights
        )
        words = "".join(
            f'<text class="mid" x="{middle}" y="{frame.top - ABOVE - GAP - LINE * lane}">'
            f"{escape(text)}</text>"
            for lane, middle, text in self.lanes
        )
        return lines + words

    def _ends(self) -> str:
        frame, ends = self.frame, self.chart.ends
        wanted = [frame.up(each.y) for each in ends]
        places = spread_out(wanted, LINE, frame.top, frame.height - frame.bottom)
        left = frame.width - frame.right + 2 * GAP
        drawn = []
        for each, at, up in zip(ends, wanted, places, strict=True):
            name = shortened(each.name, SIZE, frame.width - left - 2)
            drawn.append(
                f'<path class="lead" d="M{left - 2 * GAP + 2} {at}L{left - 3} {up}"/>'
                f'<text class="t{each.series % COLOURS}" x="{left}" y="{up + 5}">{escape(name)}'
                "</text>"
            )
        return "".join(drawn)

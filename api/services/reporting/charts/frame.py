"""The layout of a chart for a width: its margins, and the positions of values in pixels."""

from collections.abc import Sequence
from dataclasses import dataclass

from api.services.reporting.charts.axes import Axis
from api.services.reporting.charts.lettering import width_of

SIZE = 14.0  # [px] of all letters
LINE = 18  # [px] from one line of letters to the next
GAP = 6  # [px] between two labels, and between a label and what it names


@dataclass(frozen=True, slots=True)
class Frame:
    """The picture's size, its margins, and the axes that fill what is left."""

    width: int
    height: int
    left: float
    right: float
    top: float
    bottom: float
    x: Axis
    y: Axis

    def across(self, x: float) -> float:
        """Return the horizontal position of a value."""
        return round(self.left + self.x.share(x) * (self.width - self.left - self.right), 1)

    def up(self, y: float) -> float:
        """Return the vertical position of a value."""
        floor = self.height - self.bottom
        return round(floor - self.y.share(y) * (floor - self.top), 1)

    def middle(self, across: float, text: str) -> float:
        """Return where the middle of a text is, near a position and inside the picture."""
        half = width_of(text, SIZE) / 2 + 1
        return round(min(max(across, half), max(half, self.width - half)), 1)


def without_overlap(frame: Frame, ticks: Sequence[tuple[float, str]]) -> list[tuple[float, str]]:
    """Return every tick, or every second, third … one, so that their labels have room."""
    for step in range(1, max(2, len(ticks))):
        chosen = [ticks[at] for at in range(0, len(ticks), step)]
        if _has_room(frame, chosen):
            return chosen
    return list(ticks[:1])


def _has_room(frame: Frame, ticks: Sequence[tuple[float, str]]) -> bool:
    end = -float("inf")
    for value, text in ticks:
        half = width_of(text, SIZE) / 2
        middle = frame.middle(frame.across(value), text)
        if middle - half < end + GAP:
            return False
        end = middle + half
    return True


def spread_out(wanted: Sequence[float], step: float, low: float, high: float) -> list[float]:
    """Return positions near the wanted ones, at least a step apart if there is room.

    >>> spread_out([10.0, 12.0, 60.0], 18.0, 0.0, 100.0)
    [10.0, 28.0, 60.0]
    """
    order = sorted(range(len(wanted)), key=lambda at: wanted[at])
    placed: dict[int, float] = {}
    least = low
    for at in order:
        placed[at] = least = max(wanted[at], least)
        least += step
    most = high
    for at in reversed(order):
        placed[at] = most = min(placed[at], most)
        most -= step
    return [placed[at] for at in range(len(wanted))]

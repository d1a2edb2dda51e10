"""Axes of charts: their span, and ticks at round numbers."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from api.messages.days import short_day
from api.messages.numbers import localised

A_DAY_S = 86_400.0
#: Values that differ by more than this factor are drawn on a logarithmic axis.
LOG_FROM = 5.0
ROUND = (1.0, 2.0, 5.0)
LEAST_TICKS = 3
ROOM = 1.12  # factor between the outermost value and the end of a logarithmic axis


@dataclass(frozen=True, slots=True)
class Axis:
    """One axis: its span, its name with the unit, and its ticks."""

    low: float
    high: float
    name: str
    ticks: Sequence[tuple[float, str]]
    is_log: bool = False

    def share(self, value: float) -> float:
        """Return the relative position of a value on the axis, 0 to 1; ends for values beyond."""
        least, most = sorted((self.low, self.high))
        low, high, at = self.low, self.high, min(max(value, least), most)
        if self.is_log:
            low, high, at = math.log(low), math.log(high), math.log(at)
        return (at - low) / (high - low)


def axis(values: Iterable[float], name: str, *, from_zero: bool = False) -> Axis:
    """Return a linear axis for values, with ticks at round numbers.

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


def signed_axis(reach: float, name: str) -> Axis:
    """Return an axis from minus to plus a reach, with signed ticks at round numbers.

    >>> signed_axis(38.0, "%").ticks
    [(-40.0, '-40'), (-20.0, '-20'), (0.0, '0'), (20.0, '+20'), (40.0, '+40')]
    """
    even = axis([-reach, reach], name)
    ticks = [(at, localised(at, "+.6g") if at else "0") for at, _ in even.ticks]
    return Axis(even.low, even.high, name, ticks)


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


def power_axis(values: Sequence[float], name: str) -> Axis:
    """Return an axis for powers: logarithmic if they differ by a large factor, else from zero.

    >>> power_axis([1.3, 18.0], "mW").ticks
    [(2.0, '2'), (5.0, '5'), (10.0, '10'), (20.0, '20')]
    >>> power_axis([150.0, 180.0], "mW").is_log
    False
    """
    if min(values) > 0 and max(values) > LOG_FROM * min(values):
        return growth_axis(values, name)
    return axis(values, name, from_zero=True)


def growth_axis(values: Sequence[float], name: str) -> Axis:
    """Return a logarithmic axis around values, with ticks at 1, 2, 5, 10.

    Of values that are close together, the ticks are those of a linear axis.
    """
    low, high = min(values) / ROOM, max(values) * ROOM
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    marks = [factor * 10.0**decade for decade in decades for factor in ROUND]
    inside = [mark for mark in marks if low <= mark <= high]
    if len(inside) < LEAST_TICKS:
        inside = [mark for mark, _ in axis([low, high], name).ticks if low <= mark <= high]
    return Axis(low, high, name, [(mark, localised(mark, ".6g")) for mark in inside], is_log=True)


def values_axis(values: Sequence[float], name: str) -> Axis:
    """Return a logarithmic axis with ticks at the values themselves, such as tried loads."""
    low, high = min(values) / ROOM, max(values) * ROOM
    ticks = [(value, localised(value, ".3g")) for value in sorted(set(values))]
    return Axis(low, high, name, ticks, is_log=True)


def days_axis(moments: Sequence[datetime]) -> Axis:
    """Return an axis of time with some room at both ends, and ticks some weeks apart."""
    first, last = min(moments), max(moments)
    room = max(A_DAY_S, 0.04 * (last - first).total_seconds())
    weeks = max(1, math.ceil((last - first) / timedelta(weeks=1) / 6))
    marks = [first]
    while first != last and marks[-1] + timedelta(weeks=weeks) <= last:
        marks.append(marks[-1] + timedelta(weeks=weeks))
    ticks = [(each.timestamp(), short_day(each)) for each in marks]
    return Axis(first.timestamp() - room, last.timestamp() + room, "", ticks)

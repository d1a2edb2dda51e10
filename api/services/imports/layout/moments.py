"""Make the start of a session of the day, and the time of day, of each row."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta

from api.services.imports.layout.days import Order, Written, order_of, read_clock, read_day

#: Rows of a bench and day whose times are no further apart belong to one session.
TOGETHER = timedelta(hours=3)


@dataclass(slots=True)
class Starts:
    """The starts of the sessions of rows, as the template has them, and what was assumed.

    `texts` are the texts of the rows, unchanged where they are no day; `asked` is a day whose day
    and month can be read in two orders, if nothing decides; `merged` are rows whose time is later
    than the start of their session. A day without a time stays one, and is refused.
    """

    texts: list[str]
    asked: tuple[int, str, Mapping[Order, str]] | None = None
    order: Order | None = None
    merged: list[int] = field(default_factory=list)


def read_starts(
    days: Sequence[str], clocks: Sequence[str], benches: Sequence[str], order: Order | None
) -> Starts:
    """Return the start of each row's session from its day and its time of day.

    `order` is the order of day and month that the user chose; without it the days decide.
    """
    written = {text: read_day(text) for text in set(days) if text}
    order = order or order_of(each for each in written.values() if each)
    starts, moments = Starts(list(days), order=order), {}
    for at, text in enumerate(days):
        found = written.get(text)
        if found is None:
            continue
        found = found.in_order(order)
        if found.day is None:
            starts.asked = starts.asked or (at, text, _in_words(found))
            continue
        clock = _clock(found, text, clocks[at])
        if clock is None and found.clock is not None:
            continue
        starts.texts[at] = found.day.isoformat()
        if clock is not None:
            moments[at] = datetime.combine(found.day, clock)
    for at, start in _together(moments, benches).items():
        starts.texts[at] = start.isoformat(sep=" ", timespec="minutes")
        if start != moments[at]:
            starts.merged.append(at)
    return starts


def _clock(day: Written, text: str, beside: str) -> time | None:
    """Return the time of a day from its own text or from the cell beside it.

    A spreadsheet shows a day as one at 00:00. Two other times that differ are none, and neither is
    a text that is a day as well as a time, as `12.03.26` is.
    """
    clock = read_clock(beside)
    if beside == text:
        return day.clock if clock is None else None
    if clock is None or day.clock == clock:
        return day.clock
    return clock if day.clock in (None, time()) else None


def _in_words(day: Written) -> Mapping[Order, str]:
    return {order: each.isoformat() for order, each in (day.either or {}).items()}


def _together(moments: Mapping[int, datetime], benches: Sequence[str]) -> dict[int, datetime]:
    """Return the start of the session of each row: the first time of its bench that is near."""
    places: dict[tuple[str, object], list[int]] = defaultdict(list)
    for at, moment in moments.items():
        places[benches[at], moment.date()].append(at)
    starts: dict[int, datetime] = {}
    for rows in places.values():
        rows.sort(key=moments.__getitem__)
        start = last = moments[rows[0]]
        for at in rows:
            if moments[at] - last > TOGETHER:
                start = moments[at]
            starts[at], last = start, moments[at]
    return starts

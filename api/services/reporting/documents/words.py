"""Numbers and days as people read them."""

import math
from collections.abc import Sequence
from datetime import date, datetime

from api.models.season.comparison import PairRead
from api.services.core import wording

#: How a team stands to the next one; a table is in the order of power, so it is never behind.
AHEAD = {
    "a_ahead": "ahead ({sure} sure)",
    "a_probably_ahead": "probably ahead ({sure})",
    "too_close": "too close to call",
    "not_yet": "cannot be compared yet",
}


def milliwatts(power_w: float, interval_w: tuple[float, float]) -> str:
    """Return a power with its interval in milliwatts, rounded by its own doubt.

    Two significant digits of half the interval are kept, and never more digits than the display of
    a hand meter supports.

    >>> milliwatts(0.04415, (0.0326, 0.0598))
    '44 mW (33 to 60)'
    >>> milliwatts(0.004415, (0.0039, 0.0050))
    '4.42 mW (3.90 to 5.00)'
    """
    half = (interval_w[1] - interval_w[0]) / 2 * 1000
    decimals = min(2, max(0, 1 - math.floor(math.log10(half)))) if half > 0 else 2
    value, low, high = (f"{each * 1000:.{decimals}f}" for each in (power_w, *interval_w))
    return f"{value} mW ({low} to {high})"


def percent(value: float) -> str:
    """Return a change in whole percent with its sign, or as a multiple where that reads better.

    >>> percent(12.4), percent(-0.2), percent(418.0), percent(11680.0)
    ('+12 %', '0 %', '5.2 times', '118 times')
    """
    if value > wording.TIMES_FROM:
        return f"{wording.times(value)} times"
    rounded = round(value)
    return f"{rounded:+d} %" if rounded else "0 %"


def day(moment: datetime | date | None) -> str:
    """Return a day with the month's name, which no reader can take for another day."""
    return "–" if moment is None else f"{moment.day} {moment:%B %Y}"


def short_day(moment: datetime | date) -> str:
    """Return a day for an axis.

    >>> short_day(date(2026, 3, 5))
    '5 Mar'
    """
    return f"{moment.day} {moment:%b}"


def counted(number: int, thing: str) -> str:
    """Return how many of a thing there are.

    >>> counted(1, "trial"), counted(3, "trial")
    ('1 trial', '3 trials')
    """
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def shortened(lines: Sequence[str], most: int = 12) -> list[str]:
    """Return the first of many sentences, and how many more there are.

    >>> shortened(["One.", "Two.", "Three."], most=2)
    ['One.', 'Two.', 'And 1 more.']
    """
    more = [f"And {len(lines) - most} more."] if len(lines) > most else []
    return [*lines[:most], *more]


def ahead(pair: PairRead) -> str:
    """Return how a team stands to the next one of its table, in the fewest words."""
    words = AHEAD[pair.statement].format(sure=wording.share(pair.probability_a_ahead or 0.0))
    return f"{words}; roughly" if pair.comparable == "rough" else words

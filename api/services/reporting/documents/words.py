"""Format numbers and days for documents."""

import math
from collections.abc import Sequence
from datetime import date, datetime

from api.messages import days, say
from api.messages.numbers import localised
from api.models.season.comparison import PairRead
from api.services.core import wording


def milliwatts(power_w: float, interval_w: tuple[float, float]) -> str:
    """Return a power with its interval in milliwatts, rounded by its own uncertainty.

    Rounded to two significant digits of half the interval, with no more digits than the display of
    a hand meter supports.

    >>> milliwatts(0.04415, (0.0326, 0.0598))
    '44 mW (33 to 60)'
    >>> milliwatts(0.004415, (0.0039, 0.0050))
    '4.42 mW (3.90 to 5.00)'
    """
    value, low, high = rounded_milliwatts(power_w, interval_w)
    return say("report_words.power", value=value, low=low, high=high)


def rounded_milliwatts(power_w: float, interval_w: tuple[float, float]) -> tuple[str, str, str]:
    """Return a power and the ends of its interval in milliwatts, each with the same decimals.

    >>> rounded_milliwatts(0.04415, (0.0326, 0.0598))
    ('44', '33', '60')
    """
    half = (interval_w[1] - interval_w[0]) / 2 * 1000
    decimals = min(2, max(0, 1 - math.floor(math.log10(half)))) if half > 0 else 2
    value, low, high = (localised(each * 1000, f".{decimals}f") for each in (power_w, *interval_w))
    return value, low, high


def milliwatts_within(span_w: tuple[float, float]) -> str:
    """Return the ends of a range of powers in milliwatts.

    >>> milliwatts_within((0.0326, 0.0598))
    '33 to 60 mW'
    """
    low, high = span_w
    return say("report_words.power_range", low=1000 * low, high=1000 * high)


def percent(value: float) -> str:
    """Return a change in integer per cent with its sign, or as a multiple if it is large.

    >>> percent(12.4), percent(-0.2), percent(418.0), percent(11680.0)
    ('+12 %', '0 %', '5.2 times', '118 times')
    """
    if value > wording.TIMES_FROM:
        return say("report_words.times", times=wording.times(value))
    rounded = round(value)
    return say("report_words.percent", value=f"{rounded:+d}" if rounded else "0")


def day(moment: datetime | date | None) -> str:
    """Return a day with the month's name, so that it cannot be misread."""
    return "–" if moment is None else days.day(moment)


def shortened(lines: Sequence[str], most: int = 12) -> list[str]:
    """Return the first sentences, and the number of the others.

    >>> shortened(["One.", "Two.", "Three."], most=2)
    ['One.', 'Two.', 'And 1 more.']
    """
    more = len(lines) - most
    return [*lines[:most], *([say("report_words.more", count=more)] if more > 0 else [])]


def ahead(pair: PairRead) -> str:
    """Return a short comparison of a team with the next one of its table.

    A table is in the order of power, so no team is behind the next one.
    """
    sure = wording.share(pair.probability_a_ahead or 0.0)
    words = say(f"report_ahead.{pair.statement}", sure=sure)
    return say("report_ahead.roughly", words=words) if pair.comparable == "rough" else words

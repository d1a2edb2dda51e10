"""Read days and times of day as people and spreadsheets write them."""

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cache
from typing import Literal

from babel.dates import get_month_names

Order = Literal["day_first", "month_first"]
LANGUAGES = ("en", "de", "fr", "es", "pt", "it", "nl")
#: Day 0 of spreadsheets, and the numbers of days in which a season can be.
DAY_ZERO, FIRST_SERIAL, LAST_SERIAL = date(1899, 12, 30), 36_600, 73_000
#: Years that two digits may mean.
FIRST_SHORT, LAST_SHORT = 20, 60
YEAR_FIRST = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})")
IN_NUMBERS = re.compile(r"(\d{1,2})\s?([-/.])\s?(\d{1,2})\s?\2\s?(\d{4}|\d{2})\.?")
IN_WORDS = re.compile(
    r"(\d{1,2})\.?\s?(?:[-/. ]|de\s|do\s)?\s?([^\W\d]+)\.?,?\s?(?:de\s|del\s)?[-/. ]?(\d{4}|\d{2})"
)
MONTH_FIRST = re.compile(r"([^\W\d]+)\.?\s(\d{1,2})(?:st|nd|rd|th)?,?\s(\d{4}|\d{2})")
SERIAL = re.compile(r"\d{5}(?:[.,]\d+)?")
FRACTION = re.compile(r"0?[.,]\d+")
CLOCK = re.compile(
    r"(\d{1,2})(?:[:.h]\s?(\d{2}))?(?:[:.](\d{2})(?:\.\d+)?)?\s*(am|pm|a\.m\.|p\.m\.|uhr|h)?",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Written:
    """A day as it is written, and a time if there is one.

    `day` is None if its numbers can be read with the day or with the month first; then `either` has
    both. `is_day_first` tells which of two orders its numbers allow, None if they say nothing.
    """

    day: date | None
    clock: time | None = None
    either: Mapping[Order, date] | None = None
    is_day_first: bool | None = None

    def in_order(self, order: Order | None) -> "Written":
        """Return it with its day in an order of day and month, if it needs one."""
        if self.day is not None or order is None or self.either is None:
            return self
        return Written(self.either.get(order), self.clock)


def read_day(text: str) -> Written | None:
    """Return the day in a text, with its time if it has one; None if there is none.

    >>> read_day("5.3.26").day, read_day("46086").day, read_day("5. März 2026").day
    (datetime.date(2026, 3, 5), datetime.date(2026, 3, 5), datetime.date(2026, 3, 5))
    >>> read_day("3/5/2026 2:30 PM").either["day_first"], read_day("3/5/2026 2:30 PM").clock
    (datetime.date(2026, 5, 3), datetime.time(14, 30))
    """
    words = " ".join(text.split())
    if SERIAL.fullmatch(words):
        return _of_serial(float(words.replace(",", ".")))
    found = next(
        ((match, read) for pattern, read in READERS if (match := pattern.match(words))),
        None,
    )
    if found is None:
        return None
    match, read = found
    written, rest = read(match), words[match.end() :].strip(" ,;T-")
    if written is None or not rest:
        return written
    clock = read_clock(rest)
    if clock is None:
        return None
    return Written(written.day, clock, written.either, written.is_day_first)


def _of_serial(days: float) -> Written | None:
    if not FIRST_SERIAL <= days <= LAST_SERIAL:
        return None
    moment = datetime.combine(DAY_ZERO, time()) + timedelta(minutes=round(days * 1440))
    return Written(moment.date(), moment.time() if days % 1 else None)


def _year_first(match: re.Match[str]) -> Written | None:
    return _written(int(match[1]), int(match[2]), int(match[3]))


def _in_numbers(match: re.Match[str]) -> Written | None:
    """Return a day in numbers; with points between them the day is first, as common practice.

    `26-03-24` may begin with its year, and is no day then.
    """
    one, other, year = int(match[1]), int(match[3]), _year(match[4])
    is_short = len(match[4]) == 2
    may_begin_with_year = match[2] == "-" and one >= FIRST_SHORT and one != year % 100
    if is_short and (year % 100 < FIRST_SHORT or year % 100 > LAST_SHORT or may_begin_with_year):
        return None
    if match[2] == ".":
        return _written(year, other, one)
    day_first, month_first = _date(year, other, one), _date(year, one, other)
    if day_first and month_first and day_first != month_first:
        return Written(None, None, {"day_first": day_first, "month_first": month_first})
    if day_first is None and month_first is None:
        return None
    if day_first == month_first:
        return Written(day_first)
    return Written(day_first or month_first, is_day_first=day_first is not None)


def _in_words(match: re.Match[str]) -> Written | None:
    month = months().get(_folded(match[2]))
    return _written(_year(match[3]), month, int(match[1])) if month else None


def _month_first(match: re.Match[str]) -> Written | None:
    month = months().get(_folded(match[1]))
    return _written(_year(match[3]), month, int(match[2])) if month else None


READERS = (
    (YEAR_FIRST, _year_first),
    (IN_NUMBERS, _in_numbers),
    (IN_WORDS, _in_words),
    (MONTH_FIRST, _month_first),
)


def _year(text: str) -> int:
    return int(text) + (2000 if len(text) == 2 else 0)


def _written(year: int, month: int, day: int) -> Written | None:
    found = _date(year, month, day)
    return None if found is None else Written(found)


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _folded(word: str) -> str:
    folded = unicodedata.normalize("NFKD", word.casefold())
    return "".join(letter for letter in folded if letter.isalpha())


@cache
def months() -> dict[str, int]:
    """Return the number of each month by its names in the languages of sheets."""
    return {
        _folded(name): number
        for language in LANGUAGES
        for width in ("wide", "abbreviated")
        for context in ("format", "stand-alone")
        for number, name in get_month_names(width, context, language).items()
    }


def read_clock(text: str) -> time | None:
    """Return a time of day; None if it is none.

    >>> read_clock("2:30 PM"), read_clock("14h30"), read_clock("0.604166666"), read_clock("14.05")
    (datetime.time(14, 30), datetime.time(14, 30), datetime.time(14, 30), datetime.time(14, 5))
    """
    words = " ".join(text.split())
    if FRACTION.fullmatch(words):
        minutes = round(float(words.replace(",", ".")) * 1440)
        return time(minutes // 60, minutes % 60) if minutes < 1440 else None
    match = CLOCK.fullmatch(words)
    if match is None or not (match[2] or match[4]):
        return None
    hour, minute, second = int(match[1]), int(match[2] or 0), int(match[3] or 0)
    half = (match[4] or "").replace(".", "").lower()
    if half in ("am", "pm"):
        if not 1 <= hour <= 12:
            return None
        hour = hour % 12 + (12 if half == "pm" else 0)
    return time(hour, minute, second) if hour < 24 and minute < 60 and second < 60 else None


def order_of(days: Iterable[Written]) -> Order | None:
    """Return the order of day and month that the days of a column prove, if any does."""
    proved = {each.is_day_first for each in days if each.is_day_first is not None}
    if len(proved) != 1:
        return None
    return "day_first" if proved.pop() else "month_first"

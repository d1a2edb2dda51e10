"""Read a date and time; without an offset it is in the school's time zone."""

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from api.messages import say
from api.models.core.fields import FIRST_YEAR, LAST_YEAR
from api.services.imports.cells import NotAValue

WITH_OFFSET = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?\s?([Zz]|[+-]\d\d:\d\d)"
)
LOCAL = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d)?")


def is_moment(text: str) -> bool:
    """Tell whether a text has the form of a date and time, which may still be none."""
    return bool(WITH_OFFSET.fullmatch(text) or LOCAL.fullmatch(text))


def read_moment(text: str, zone: str) -> datetime:
    """Return the moment in a text; without an offset it is in the given time zone."""
    try:
        if WITH_OFFSET.fullmatch(text):
            plain = text.replace(" ", "T", 1).replace(" ", "")
            return _within(datetime.fromisoformat(plain).astimezone(UTC))
        if LOCAL.fullmatch(text):
            return _within(_local(datetime.fromisoformat(text), zone))
    except (ValueError, OverflowError) as error:
        raise _not_a_moment(say("import_moment.none_such")) from error
    raise _not_a_moment(_what_it_is(text))


def _not_a_moment(words: str) -> NotAValue:
    return NotAValue("not_a_moment", words, say("import_moment.form"))


def _within(moment: datetime) -> datetime:
    """Return the moment if a season can be in its year."""
    if not FIRST_YEAR < moment.year < LAST_YEAR:
        raise _not_a_moment(say("import_moment.year"))
    return moment


def _local(clock: datetime, zone: str) -> datetime:
    """Return the moment of a local time; refuse a time that a clock change repeats or skips."""
    moments = {clock.replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(UTC) for fold in (0, 1)}
    if len(moments) == 1:
        return moments.pop()
    words = say("import_moment.clock_change", zone=zone)
    raise NotAValue("clock_change", words, say("import_moment.add_offset"))


def _what_it_is(text: str) -> str:
    if re.fullmatch(r"\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}.*", text):
        return say("import_moment.year_first")
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return say("import_moment.no_time")
    if re.fullmatch(r"\d{5}([.,]\d+)?", text):
        return say("import_moment.day_number")
    return say("import_moment.neither")

"""From the text of a date and time to a moment, in the school's own time where no offset stands."""

import re
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from api.models.core.fields import FIRST_YEAR, LAST_YEAR
from api.services.imports.cells import NotAValue

WITH_OFFSET = re.compile(
    r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?\s?([Zz]|[+-]\d\d:\d\d)"
)
LOCAL = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d)?")
FORM = "Write 2026-03-05 14:30, or with its offset 2026-03-05T14:30:00+01:00."


def read_moment(text: str, zone: str) -> datetime:
    """Return the moment that a text names; without an offset it is the zone's clock."""
    try:
        if WITH_OFFSET.fullmatch(text):
            plain = text.replace(" ", "T", 1).replace(" ", "")
            return _within(datetime.fromisoformat(plain).astimezone(UTC))
        if LOCAL.fullmatch(text):
            return _within(_local(datetime.fromisoformat(text), zone))
    except (ValueError, OverflowError) as error:
        raise NotAValue("not_a_moment", "is not a day and time that exist", FORM) from error
    raise NotAValue("not_a_moment", _what_it_is(text), FORM)


def _within(moment: datetime) -> datetime:
    """Return a moment of a year in which a season can lie."""
    if not FIRST_YEAR < moment.year < LAST_YEAR:
        raise NotAValue("not_a_moment", "lies in a year without any season", FORM)
    return moment


def _local(clock: datetime, zone: str) -> datetime:
    """Return the moment a school's clock showed a time, if it showed it once."""
    moments = {clock.replace(tzinfo=ZoneInfo(zone), fold=fold).astimezone(UTC) for fold in (0, 1)}
    if len(moments) == 1:
        return moments.pop()
    raise NotAValue(
        "clock_change",
        f"was skipped or shown twice when the clocks changed in {zone}",
        "Add the offset, such as +01:00.",
    )


def _what_it_is(text: str) -> str:
    if re.fullmatch(r"\d{1,2}[/.-]\d{1,2}[/.-]\d{2,4}.*", text):
        return "does not begin with the year, so day and month could be mistaken"
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return "has no time of day"
    if re.fullmatch(r"\d{5}([.,]\d+)?", text):
        return "is a spreadsheet's day number, not a date: format the column as text"
    return "is not a date and time"

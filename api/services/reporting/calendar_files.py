"""A season's calendar as a file for calendar programs: iCalendar, RFC 5545 and RFC 7986."""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from icalendar import TRANSP, Calendar, Event

from api.services.reporting.calendar_days import CalendarEntry

#: How often a calendar program is asked to look again.
REFRESH = timedelta(hours=12)


def calendar_file(key: str, title: str, entries: Sequence[CalendarEntry], site: str) -> bytes:
    """Return entries as an iCalendar file; `site` is the address of the service.

    The key is that of the season, so that it is the same calendar each time it is read.

    A whole day is a date, so that it is the same day in every time zone. A session has the
    moment at which it begins, in UTC, and no length, because none is recorded.
    """
    calendar = Calendar.new(
        name=title, prodid="-//Gustbook//Season calendar//EN", uid=f"{key}@gustbook"
    )
    # RFC 7986, 5.7: this property has no default type, so its type has to be named.
    calendar.add("REFRESH-INTERVAL", REFRESH, parameters={"VALUE": "DURATION"})
    now = datetime.now(UTC).replace(microsecond=0)
    for entry in entries:
        calendar.add_component(_event(entry, site, now))
    return bytes(calendar.to_ical())


def _event(entry: CalendarEntry, site: str, now: datetime) -> Event:
    event = Event.new(
        uid=f"{entry.key}@gustbook", sequence=entry.version, stamp=now, summary=entry.words,
        start=entry.starts_at.astimezone(UTC) if entry.starts_at else entry.day,
        url=f"{site}{entry.path}", location=entry.place or None, transparency=TRANSP.TRANSPARENT,
    )  # fmt: skip
    return event

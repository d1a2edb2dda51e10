"""Write moments in files as the API writes them in JSON."""

from datetime import UTC, datetime


def in_utc(moment: datetime) -> str:
    """Return a moment in UTC, as RFC 3339 has it.

    >>> from datetime import timedelta, timezone
    >>> in_utc(datetime(2026, 3, 5, 15, 30, tzinfo=timezone(timedelta(hours=1))))
    '2026-03-05T14:30:00Z'
    """
    return moment.astimezone(UTC).isoformat().replace("+00:00", "Z")

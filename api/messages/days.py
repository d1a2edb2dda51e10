"""Format days in each language, with the month's name, so that they cannot be misread."""

from datetime import date, datetime

from babel.dates import format_date

from api.messages.languages import current_language, locale_of

#: Patterns for languages without one convention: in English the day comes first.
WITH_YEAR = {"en": "d MMMM y"}
WITHOUT_YEAR = {"en": "d MMM"}


def day(moment: datetime | date) -> str:
    """Return a day.

    >>> from api.messages import using
    >>> day(date(2026, 3, 5))
    '5 March 2026'
    >>> with using("de"):
    ...     day(date(2026, 3, 5))
    '5. März 2026'
    """
    language = current_language()
    return format_date(moment, WITH_YEAR.get(language, "long"), locale_of(language))


def short_day(moment: datetime | date) -> str:
    """Return a short form of a day, without its year.

    >>> from api.messages import using
    >>> short_day(date(2026, 3, 5))
    '5 Mar'
    >>> with using("de"):
    ...     short_day(date(2026, 2, 5))
    '5. Feb.'
    """
    language = current_language()
    locale = locale_of(language)
    pattern = WITHOUT_YEAR.get(language) or locale.datetime_skeletons["MMMd"].pattern
    return format_date(moment, pattern, locale)

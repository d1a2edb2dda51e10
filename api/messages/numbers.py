"""Format numbers in each language."""

from functools import cache

from babel.numbers import get_decimal_symbol

from api.messages.languages import current_language, locale_of


@cache
def decimal_sign(language: str) -> str:
    """Return the decimal sign of a language.

    >>> decimal_sign("en"), decimal_sign("de")
    ('.', ',')
    """
    return get_decimal_symbol(locale_of(language))


def localised(value: float, spec: str = "") -> str:
    """Return a number in a Python format, with the decimal sign of the current language.

    >>> from api.messages import using
    >>> localised(4.415, ".2f"), localised(4.0)
    ('4.42', '4.0')
    >>> with using("de"):
    ...     localised(4.415, ".2f")
    '4,42'
    """
    return format(value, spec).replace(".", decimal_sign(current_language()))

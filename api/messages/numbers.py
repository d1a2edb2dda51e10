"""Numbers as each language writes them."""

from babel.numbers import get_decimal_symbol

from api.messages.languages import current_language, locale_of


def localised(value: float, spec: str = "") -> str:
    """Return a number by a format of Python's, with the decimal sign of the language spoken now.

    >>> from api.messages import using
    >>> localised(4.415, ".2f"), localised(4.0)
    ('4.42', '4.0')
    >>> with using("de"):
    ...     localised(4.415, ".2f")
    '4,42'
    """
    return format(value, spec).replace(".", get_decimal_symbol(locale_of(current_language())))

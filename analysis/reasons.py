"""Write and read reasons why a value is not known: a code, with the numbers of its sentence.

A reason is plain text, so that it goes into columns, tables and exceptions alike. Its sentence
in each language belongs to the message catalogue of the service.
"""

import re

REASON = re.compile(r"[a-z_]+(;[a-z_]+=([-+.e0-9]+|-?inf|nan))*")


def reason(code: str, **values: float) -> str:
    """Return a reason as text.

    Parameters
    ----------
    code : str
        Code of what is missing.
    **values : float
        Numbers that its sentence contains.

    Returns
    -------
    str
        The code, then each number with its name, separated by semicolons.

    Examples
    --------
    >>> reason("too_few_pitches", least=4, got=2), reason("no_wind_meter")
    ('too_few_pitches;least=4;got=2', 'no_wind_meter')
    """
    return ";".join([code, *(f"{name}={value:.6g}" for name, value in values.items())])


def parts_of(text: str) -> tuple[str, dict[str, float]]:
    """Return the code and the numbers of a reason.

    Parameters
    ----------
    text : str
        A reason.

    Returns
    -------
    tuple of str and dict
        The code, and each number by its name; integers as int.

    Raises
    ------
    ValueError
        If the text is not a reason.

    Examples
    --------
    >>> parts_of("too_few_pitches;least=4;got=2")
    ('too_few_pitches', {'least': 4, 'got': 2})
    """
    if not REASON.fullmatch(text):
        raise ValueError("not a reason")
    code, *named = text.split(";")
    pairs = (each.split("=", 1) for each in named)
    return code, {name: _number(value) for name, value in pairs}


def _number(text: str) -> float:
    return int(text) if text.lstrip("-").isdecimal() else float(text)

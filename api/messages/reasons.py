"""Turn the reason codes of `analysis` into sentences."""

from analysis.reasons import parts_of
from api.messages.catalogue import say


def say_reason(reason: str) -> str:
    """Return a reason in words; a reason that an earlier version stored as text stays unchanged.

    >>> say_reason("too_few_pitches;least=4;got=2"), say_reason("")
    ('need 4 different pitches, got 2', '')
    """
    try:
        code, values = parts_of(reason)
    except ValueError:
        return reason
    return say(f"reason.{code}", **values)

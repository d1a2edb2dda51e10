"""Read numbers that were typed with a unit, such as `9,2 mph` or `950 mV`."""

import re
from typing import NamedTuple

from api.messages import say
from api.models.core.units import FAMILIES, Unit, quantity
from api.services.imports.cells import NotAValue

WITH_UNIT = re.compile(r"([+\-\N{MINUS SIGN}]?[0-9][0-9.,]*)\s*([^\s0-9.,].{0,11})")
#: Other spellings of units, in small letters.
ALIASES = {
    "kmh": "km/h",
    "kph": "km/h",
    "kt": "kn",
    "kts": "kn",
    "knots": "kn",
    "ohm": "ω",
    "ohms": "ω",
    "kohm": "kω",
    "f": "°f",
    "c": "°c",
    "volt": "v",
    "volts": "v",
    "1/min": "1/min",
    "rpm": "1/min",
    '"': "in",
}


class Spelled(NamedTuple):
    """A number under the name that its field has in the unit it was typed in."""

    name: str
    number: str


def split(text: str) -> tuple[str, str]:
    """Return a typed number and its unit, which is empty if there is none.

    >>> split("9,2 mph"), split("950mV"), split("1.2"), split("about 3")
    (('9,2', 'mph'), ('950', 'mV'), ('1.2', ''), ('about 3', ''))
    """
    found = WITH_UNIT.fullmatch(text.strip())
    return (found[1], found[2].strip()) if found else (text, "")


def spelled(name: str, text: str) -> Spelled | None:
    """Return what a text with a unit means for a quantity; None without a known unit.

    Raise `NotAValue` for a unit that only other quantities have.

    >>> spelled("wind_speed_m_s", "9,2 mph"), spelled("wind_speed_m_s", "4.1 m/s")
    (Spelled(name='wind_speed_mph', number='9,2'), Spelled(name='wind_speed_m_s', number='4.1'))
    >>> spelled("voltage_v", "1,2O") is None
    True
    """
    number, unit = split(text)
    names, symbol = names_by_symbol(name), plain_symbol(unit)
    if symbol in names:
        return Spelled(names[symbol], number)
    if symbol in KNOWN:
        known = ", ".join(symbols(name)) or "–"
        raise NotAValue("unit", say("form.unknown_unit", unit=unit), say("form.units", known=known))
    return None


def plain_symbol(unit: str) -> str:
    """Return the symbol of a unit in small letters, whichever way it was written."""
    symbol = re.sub(r"\s", "", unit).casefold()
    return ALIASES.get(symbol, symbol)


#: The symbols of all units, in small letters.
KNOWN = frozenset(
    plain_symbol(symbol)
    for own, others in FAMILIES.values()
    for symbol in (own, *(unit.symbol for unit in others.values()))
)


def names_by_symbol(name: str) -> dict[str, str]:
    """Return the names of a quantity's fields by the symbols of their units."""
    measured = quantity(name)
    if measured is None:
        return {"°": name} if name.endswith("_deg") else {}
    own = {plain_symbol(measured.symbol): name}
    return own | {plain_symbol(unit.symbol): each for each, unit in measured.spellings().items()}


def symbols(name: str) -> list[str]:
    """Return the units that a quantity may be typed in, its own first."""
    measured = quantity(name)
    others = [unit.symbol for unit in measured.others.values()] if measured else []
    return [measured.symbol, *others] if measured else []


def factors(name: str, shown_in: Unit | None = None) -> list[tuple[str, Unit]]:
    """Return each other unit of a quantity, by its symbol in small letters, for a form's script.

    The units convert to the quantity's own one, or to the one that the form shows it in.

    >>> from api.models.core.units import SPEED
    >>> [symbol for symbol, _ in factors("wind_speed_m_s", shown_in=SPEED["mph"])]
    ['m/s', 'km/h', 'kn', 'ft/s', 'ft/min']
    """
    measured = quantity(name)
    if measured is None:
        return []
    shown = shown_in or Unit(measured.symbol, 1.0)
    units = (Unit(measured.symbol, 1.0), *measured.others.values())
    return [
        (plain_symbol(unit.symbol), _relative(unit, shown))
        for unit in units
        if unit.symbol != shown.symbol
    ]


def _relative(unit: Unit, to: Unit) -> Unit:
    """Return how a value in one unit becomes one in another unit of the same quantity."""
    return Unit(unit.symbol, unit.factor / to.factor, (unit.offset - to.offset) / to.factor)

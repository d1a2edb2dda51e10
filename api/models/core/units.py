"""Units a number may be typed in: one spelling each, and the exact way to SI.

A field is named with its SI unit (`wind_speed_m_s`); the same quantity may come
as `wind_speed_mph`. Nothing is parsed: an unknown unit is an unknown field.
"""

import math
from dataclasses import dataclass
from functools import cache

from api.messages import say


@dataclass(frozen=True, slots=True)
class Unit:
    """One way to type a quantity: SI value = typed × factor + offset."""

    symbol: str
    factor: float
    offset: float = 0.0

    def to_si(self, typed: float) -> float:
        """Return the value in the quantity's own unit, free of the noise of binary fractions."""
        return float(f"{typed * self.factor + self.offset:.12g}")


SPEED = {
    "mph": Unit("mph", 0.44704),
    "km_h": Unit("km/h", 1 / 3.6),
    "kn": Unit("kn", 1852 / 3600),
    "ft_s": Unit("ft/s", 0.3048),
    "ft_min": Unit("ft/min", 0.3048 / 60),
}
LENGTH = {
    "cm": Unit("cm", 0.01),
    "mm": Unit("mm", 0.001),
    "in": Unit("in", 0.0254),
    "ft": Unit("ft", 0.3048),
}

#: By SI suffix of a field's name: the other suffixes it may be typed with. Longest suffix first.
FAMILIES: dict[str, tuple[str, dict[str, Unit]]] = {
    "v_s_rad": ("V·s/rad", {"v_krpm": Unit("V/(1000 1/min)", 30 / math.pi / 1000)}),
    "m_s": ("m/s", SPEED),
    "ohm": ("Ω", {"kohm": Unit("kΩ", 1000.0)}),
    "hpa": (
        "hPa",
        {
            "pa": Unit("Pa", 0.01),
            "kpa": Unit("kPa", 10.0),
            "inhg": Unit("inHg", 33.86389),
            "mmhg": Unit("mmHg", 1.333224),
        },
    ),
    "rpm": ("1/min", {"rad_s": Unit("rad/s", 30 / math.pi), "hz": Unit("Hz", 60.0)}),
    "pct": ("%", {"fraction": Unit("as a fraction", 100.0)}),
    "min": ("min", {"s": Unit("s", 1 / 60)}),
    "m2": ("m²", {"cm2": Unit("cm²", 0.0001)}),
    "kg": ("kg", {"g": Unit("g", 0.001), "oz": Unit("oz", 0.028349523125)}),
    "m": ("m", LENGTH),
    "v": ("V", {"mv": Unit("mV", 0.001)}),
    "a": ("A", {"ma": Unit("mA", 0.001)}),
    "w": ("W", {"mw": Unit("mW", 0.001)}),
    "s": ("s", {"min": Unit("min", 60.0)}),
    "c": ("°C", {"f": Unit("°F", 5 / 9, -160 / 9), "k": Unit("K", 1.0, -273.15)}),
}


@dataclass(frozen=True, slots=True)
class Quantity:
    """A field with its unit: what is left of its name, its SI symbol and its other spellings."""

    stem: str
    symbol: str
    others: dict[str, Unit]

    def spellings(self) -> dict[str, Unit]:
        """Return the other names this quantity may be typed under."""
        return {f"{self.stem}_{suffix}": unit for suffix, unit in self.others.items()}


@cache
def quantity(field: str) -> Quantity | None:
    """Return the quantity of a field, or None if its name has no unit.

    >>> quantity("wind_speed_start_m_s").spellings()["wind_speed_start_mph"].to_si(10)
    4.4704
    >>> quantity("air_temperature_c").spellings()["air_temperature_f"].to_si(71.6)
    22.0
    >>> quantity("client_ref") is None
    True
    """
    for suffix, (symbol, others) in FAMILIES.items():
        if field.endswith(f"_{suffix}"):
            return Quantity(field.removesuffix(f"_{suffix}"), symbol, others)
    return None


def likely_units(field: str, typed: float, low: float, high: float) -> list[str]:
    """Return a sentence on other units in which a refused number would be within its limits.

    >>> likely_units("voltage_v", 1200, -60, 60)
    ['1200 mV = 1.2 V (voltage_mv)']
    """
    measured = quantity(field)
    if measured is None:
        return []
    return [
        say(
            "fault.as_unit",
            typed=typed,
            unit=unit.symbol,
            value=unit.to_si(typed),
            own=measured.symbol,
            field=name,
        )
        for name, unit in measured.spellings().items()
        if low <= unit.to_si(typed) <= high
    ]

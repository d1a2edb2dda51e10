"""Decide what a point or a comma in a typed number means: decimals, thousands, or a question.

`1,200` may be 1.2 or 1200. Other cells may decide: a number such as `8,9` or `0,166` can only have
a decimal comma, and `1,013` hPa is a possible pressure only with thousands. If nothing decides, the
service asks, and never stores a guess.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from api.models.core.units import Unit, quantity
from api.models.core.validation import LIMITS

Meaning = Literal["decimal", "thousands"]
#: A number with one separator that may precede decimals or thousands.
AMBIGUOUS = re.compile(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}")
NUMBER = re.compile(r"[+-]?[0-9]+([.,][0-9]+)?")
SIGNS = (",", ".")
#: The names of the two signs in queries and forms.
NAMED = {"comma": ",", "point": "."}
#: Usual values of model turbines and their tests. A value outside its range decides nothing by
#: itself, but the service asks if the other value is inside. Common practice, no source.
PLAUSIBLE = {
    "voltage_v": (0.02, 20.0),
    "load_ohm": (0.5, 5000.0),
    "rotor_speed_rpm": (50.0, 3000.0),
}
#: Fields with several numbers, and the field with the limits of one of them.
ONE_OF = {"series_voltage_v": "voltage_v", "blade_pitches_deg": "pitch_deg"}
#: Integers from this value on in a column with `1.200` suggest that its points mean thousands.
LARGE_WHOLE = 100.0


@dataclass(frozen=True, slots=True)
class ColumnSigns:
    """The decimal sign of a column, and the meaning of its ambiguous numbers."""

    decimal: str = "."
    ambiguous: Mapping[str, Meaning] = field(default_factory=dict)

    def meaning(self, number: str) -> Meaning | None:
        """Return the meaning of the separator of an ambiguous number, or None if we must ask."""
        return self.ambiguous.get(_sign(number))


def readings(number: str) -> dict[Meaning, float]:
    """Return both values that an ambiguous number may have.

    >>> readings("1,200")
    {'decimal': 1.2, 'thousands': 1200.0}
    """
    return {
        "decimal": float(number.replace(",", ".")),
        "thousands": float(number.replace(",", "").replace(".", "")),
    }


def column_signs(
    columns: Mapping[str, Iterable[str]], fields: Mapping[str, str], named: str | None = None
) -> dict[str, ColumnSigns]:
    """Return the decimal signs of each column.

    `columns` has the typed numbers of each column by its key, `fields` the SI field of each key;
    `named` is the decimal sign if the user chose it: the other sign then groups thousands.
    """
    if named is not None:
        other = _other(named)
        signs = ColumnSigns(named, {named: "decimal", other: "thousands"})
        return dict.fromkeys(columns, signs)
    evidence = {key: _Evidence(key, fields[key], set(cells)) for key, cells in columns.items()}
    decimal = _usual_sign(evidence.values())
    return {
        key: ColumnSigns(decimal, {sign: meaning for sign in SIGNS
                                   if (meaning := _decide(sign, each, evidence.values()))})
        for key, each in evidence.items()
    }  # fmt: skip


def signs_of_one(name: str, text: str) -> ColumnSigns:
    """Return the decimal sign for a single number that was typed into the named field."""
    return column_signs({name: [text]}, {name: si_field(name)})[name]


def clear(name: str, text: str) -> str:
    """Return a number in a form that is not ambiguous when the form sends it back.

    >>> clear("load_ohm", "22.105"), clear("load_ohm", "22.1"), clear("wind_speed_m_s", "4.125")
    ('22.1050', '22.1', '4.125')
    """
    is_unclear = AMBIGUOUS.fullmatch(text) and signs_of_one(name, text).meaning(text) is None
    return f"{text}0" if is_unclear else text


@dataclass(frozen=True)
class _Evidence:
    """The evidence that the numbers of one column give about its separators."""

    key: str
    field: str
    numbers: set[str]

    def proves(self, sign: str, meaning: Meaning) -> bool:
        """Tell whether any number of this column allows only this meaning of its separator."""
        if meaning == "decimal" and self.has_decimals(sign):
            return True
        return any(self._possible(number) == {meaning} for number in self._ambiguous(sign))

    def has_decimals(self, sign: str) -> bool:
        """Tell whether any number, by its form, can only have this sign before decimals."""
        return any(sign in n and NUMBER.fullmatch(n) and not AMBIGUOUS.fullmatch(n)
                   for n in self.numbers)  # fmt: skip

    def looks_grouped(self, sign: str) -> bool:
        """Tell whether numbers of this column suggest thousands without proving them."""
        ambiguous = self._ambiguous(sign)
        has_large_integer = any(
            n.lstrip("+-").isdigit() and abs(float(n)) >= LARGE_WHOLE for n in self.numbers
        )
        return bool(ambiguous) and (
            has_large_integer or any(map(self._only_plausible_grouped, ambiguous))
        )

    def _only_plausible_grouped(self, number: str) -> bool:
        low, high = PLAUSIBLE.get(self.field, (0.0, float("inf")))
        values = {m: abs(self._si(value)) for m, value in readings(number).items()}
        is_inside = {meaning: low <= value <= high for meaning, value in values.items()}
        return is_inside["thousands"] and not is_inside["decimal"]

    def _possible(self, number: str) -> set[str]:
        """Return the meanings of an ambiguous number that the limits of its field allow."""
        name = ONE_OF.get(self.field, self.field.removeprefix("trial_"))
        low, high = LIMITS.get(name, (-float("inf"), float("inf")))
        return {m for m, value in readings(number).items() if low <= self._si(value) <= high}

    def _ambiguous(self, sign: str) -> list[str]:
        return [n for n in self.numbers if sign in n and AMBIGUOUS.fullmatch(n)]

    def _si(self, value: float) -> float:
        unit = unit_of(self.key, self.field)
        return value if unit is None else unit.to_si(value)


def _decide(sign: str, column: _Evidence, every: Iterable[_Evidence]) -> Meaning | None:
    """Return the meaning of a sign in ambiguous numbers: by the column, else by the file."""
    own = _proved(sign, [column])
    if own is not None:
        return own.pop() if len(own) == 1 else None  # type: ignore[return-value]  # of two meanings
    proved = _proved(sign, every)
    other_is_decimal = any(each.has_decimals(_other(sign)) for each in every)
    if proved != {"decimal"} or other_is_decimal or column.looks_grouped(sign):
        return None
    return "decimal"


def _proved(sign: str, columns: Iterable[_Evidence]) -> set[str] | None:
    """Return the meanings that columns prove for a sign, or None if they prove none."""
    meanings: tuple[Meaning, ...] = ("decimal", "thousands")
    proved: set[str] = {m for m in meanings if any(each.proves(sign, m) for each in columns)}
    return proved or None


def _usual_sign(columns: Iterable[_Evidence]) -> str:
    """Return the most frequent decimal sign of a file; unambiguous numbers decide first."""
    numbers = [number for column in columns for number in column.numbers]
    clear = [number for number in numbers if not AMBIGUOUS.fullmatch(number)]
    for sample in (clear, numbers):
        commas, points = (sum(sign in number for number in sample) for sign in SIGNS)
        if commas != points:
            return "," if commas > points else "."
    return "."


def unit_of(key: str, field: str) -> Unit | None:
    """Return the unit in a column's key, or None if it is the field's own."""
    measured = quantity(field)
    return measured.spellings().get(key) if measured else None


def si_field(name: str) -> str:
    """Return the SI field of a name that may have another unit."""
    if name in LIMITS:
        return name
    named = (field for field in LIMITS if unit_of(name, field) is not None)
    return next(named, name)


def _sign(number: str) -> str:
    return "," if "," in number else "."


def _other(sign: str) -> str:
    return "." if sign == "," else ","

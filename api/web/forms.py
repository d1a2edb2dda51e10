"""Read forms: from typed text to the shapes of the API, with faults at their fields.

A number may be typed with a comma or a point. Labels have units; a field in another unit
(`rotor_diameter_cm`) reaches the shape under that name, and the shape converts it to SI.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal, NamedTuple, TypeVar

from pydantic import ValidationError

from api.errors import ApiError, FieldError
from api.messages import has_key, say
from api.messages.numbers import localised
from api.models.core.shapes import Input
from api.models.core.validation import LIMITS, invalid
from api.services.imports.cells import NotAValue, read_cell, read_number
from api.services.imports.decimal_signs import ONE_OF, clear
from api.web import typed_units
from api.web.field_units import FORM_UNITS, spelling, stem, unit_of
from api.web.typed_units import Spelled

Kind = Literal[
    "number",
    "numbers",
    "whole",
    "text",
    "email",
    "lines",
    "choice",
    "tick",
    "day",
    "moment",
    "hidden",
]
Shape = TypeVar("Shape", bound=Input)
Choices = Sequence[tuple[str, str]]


class InUnit(NamedTuple):
    """A number in the unit it was typed in, with the name of its field in that unit."""

    name: str
    value: float


#: The prefix of the fields of one run: run_2_voltage_v.
OF_RUN = re.compile(r"^run_[0-9]+_")


class Labelled(Sequence[tuple[str, str]]):
    """Fixed choices, each with its message in a group of the catalogue.

    A label is looked up whenever it is read, since each request has a language of its own.
    """

    def __init__(self, group: str, values: Sequence[str]) -> None:
        self._group, self._values = group, values

    def __len__(self) -> int:
        return len(self._values)

    def __getitem__(self, at: Any) -> Any:
        """Return one choice, or several for a slice."""
        if isinstance(at, slice):
            return Labelled(self._group, self._values[at])
        value = self._values[at]
        return value, say(f"{self._group}.{value}")


def labelled(group: str, *values: str) -> Labelled:
    """Return fixed choices with labels from the catalogue.

    >>> list(labelled("condition", "good", "worn"))
    [('good', 'good'), ('worn', 'worn')]
    """
    return Labelled(group, values)


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a form; `more` fields are hidden until the user opens them."""

    name: str
    kind: Kind = "number"
    required: bool = False
    more: bool = False
    choices: Choices = ()
    #: Whether a number may be typed with another unit, as in `950 mV`.
    takes_units: bool = False

    @property
    def label(self) -> str:
        """Return the label of the field, with its unit."""
        own = OF_RUN.sub("", self.name)
        reading = re.fullmatch("voltage_([0-9]+)", own)
        if reading:
            return say("field.voltage", number=reading[1])
        name = own if has_key(f"field.{own}") else stem(own)
        unit = unit_of(own) if self.kind in ("number", "numbers") else ""
        return say(f"field.{name}") + (f" ({unit})" if unit else "")

    @property
    def measures(self) -> str:
        """Return the name of the quantity whose limits and units apply to the field."""
        own = OF_RUN.sub("", self.name)
        return ONE_OF.get(own, re.sub(r"^voltage_[0-9]+$", "voltage_v", own))

    @property
    def stored_as(self) -> str:
        """Return the name of the quantity in the unit that it is stored in."""
        return FORM_UNITS.get(self.measures, self.measures)

    @property
    def limits(self) -> tuple[float, float] | None:
        """Return the limits of the field in its own unit, or None."""
        name = self.measures
        if name in LIMITS:
            return LIMITS[name]
        spelt = spelling(name)
        if spelt is None or spelt[0] not in LIMITS:
            return None
        low, high = ((each - spelt[1].offset) / spelt[1].factor for each in LIMITS[spelt[0]])
        return float(f"{low:.6g}"), float(f"{high:.6g}")

    @property
    def units(self) -> str:
        """Return the other units of the field, each with its conversion, for a form's script."""
        if not self.takes_units:
            return ""
        spelt = spelling(self.measures)
        factors = typed_units.factors(self.stored_as, spelt[1] if spelt else None)
        return ";".join(
            f"{symbol} {unit.factor:.12g} {unit.offset:.12g}" for symbol, unit in factors
        )

    @property
    def own_unit(self) -> str:
        """Return the unit of a number that is typed without one."""
        return unit_of(self.measures)

    @property
    def hint(self) -> str:
        """Return the hint of the field, or an empty text."""
        own = OF_RUN.sub("", self.name)
        keys = (f"hint.{own}", f"hint.{FORM_UNITS.get(own, own)}", f"hint.{stem(own)}")
        return next((say(key) for key in keys if has_key(key)), "")

    def offering(self, choices: Choices) -> "Field":
        """Return the field with these choices."""
        return replace(self, choices=tuple(choices))


def offering(fields: Iterable[Field], offered: Mapping[str, Choices]) -> list[Field]:
    """Return fields with their choices; fields without new choices stay unchanged.

    >>> [each.choices for each in offering([Field("a"), Field("b")], {"b": [("1", "one")]})]
    [(), (('1', 'one'),)]
    """
    return [each.offering(offered[each.name]) if each.name in offered else each for each in fields]


@dataclass(slots=True)
class Filled:
    """A filled form with the faults of its fields."""

    fields: Sequence[Field]
    typed: dict[str, str] = field(default_factory=dict)
    faults: dict[str, str] = field(default_factory=dict)
    other: list[str] = field(default_factory=list)
    #: Fields of the form by the full pointer of a fault, if its last step is not a field.
    places: Mapping[str, str] = field(default_factory=dict)
    #: The names of values that were typed in another unit than their field's, by field.
    read_as: dict[str, str] = field(default_factory=dict)

    @property
    def is_wrong(self) -> bool:
        """Tell whether anything has to be corrected."""
        return bool(self.faults or self.other)

    @property
    def typed_names(self) -> list[str]:
        """Return the fields that are not empty."""
        return [name for name, text in self.typed.items() if text]

    @property
    def _ticks(self) -> list[str]:
        return [form_field.name for form_field in self.fields if form_field.kind == "tick"]

    def blame(self, refusal: ApiError) -> None:
        """Show each fault of a refusal at its field, or above the form."""
        if all(fault.pointer is None for fault in refusal.errors):
            self.other.append(_sentence(str(refusal)))
            return
        for fault in refusal.errors:
            self._place(fault)

    def _place(self, fault: FieldError) -> None:
        words = _fault_in_words(fault)
        steps = [step for step in (fault.pointer or "").split("/") if step]
        field_of = {f.name: f.name for f in self.fields}
        field_of |= {FORM_UNITS[f.name]: f.name for f in self.fields if f.name in FORM_UNITS}
        name = self.places.get(fault.pointer or "") or next(
            (field_of[step] for step in reversed(steps) if step in field_of), None
        )
        if name:
            is_empty = not self.typed.get(name, "yes") and name not in self._ticks
            self.faults.setdefault(name, say("form.needed") if is_empty else words)
        else:
            self.other.append(f"{steps[-1]}: {words}" if steps else words)


#: The other spellings of a quantity in hints of the API, which only programs need.
SPELLING = re.compile(r" \([a-z0-9]+(_[a-z0-9]+)+(, [a-z0-9_]+)*\)")


def _fault_in_words(fault: FieldError) -> str:
    """Return a fault with its hint, without names that only programs know."""
    sentences = [_sentence(words) for words in (fault.detail, fault.hint) if words]
    return SPELLING.sub("", " ".join(sentences))


def _sentence(words: str) -> str:
    """Return words as a sentence, with a capital letter and a full stop."""
    capitalised = words[:1].upper() + words[1:]
    return capitalised if capitalised.endswith((".", "?", "!")) else f"{capitalised}."


def read(fields: Sequence[Field], typed: Mapping[str, str]) -> tuple[Filled, dict[str, Any]]:
    """Return the filled form, and the values that could be read from it."""
    filled = Filled(fields, {each.name: typed.get(each.name, "").strip() for each in fields})
    values: dict[str, Any] = {}
    for form_field in fields:
        text = filled.typed[form_field.name]
        if form_field.kind == "tick":
            values[form_field.name] = text == "yes"
            if form_field.required and text != "yes":
                filled.faults[form_field.name] = say("form.tick_needed")
        elif not text and form_field.required:
            filled.faults[form_field.name] = say("form.needed")
        elif text:
            _read(form_field, text, filled, values)
    return filled, values


def _read(form_field: Field, text: str, filled: Filled, values: dict[str, Any]) -> None:
    try:
        typed = typed_units.spelled(form_field.stored_as, text) if form_field.takes_units else None
        if typed is None or typed.name == form_field.measures:
            values[form_field.name] = value_of(form_field, typed.number if typed else text)
        else:
            _read_in_unit(form_field, typed, filled, values)
    except NotAValue as wrong:
        filled.faults[form_field.name] = _fault_in_words(
            FieldError("", f"{text[:40]} {wrong}", wrong.hint)
        )


def _read_in_unit(
    form_field: Field, typed: Spelled, filled: Filled, values: dict[str, Any]
) -> None:
    """Note a number under the name that its field has in the typed unit, so that it is stored so.

    A reading is one of several of its quantity, so it stays under the name of its field.
    """
    number_of_unit = number(typed.number, typed.name)
    filled.places = {**filled.places, f"/{typed.name}": form_field.name}
    if form_field.measures == form_field.name:
        values[typed.name], filled.read_as[form_field.name] = number_of_unit, typed.name
    else:
        values[form_field.name] = InUnit(typed.name, number_of_unit)


def value_of(form_field: Field, text: str) -> Any:
    """Return the value of a text for a field."""
    if form_field.kind == "number":
        return number(text, form_field.measures)
    if form_field.kind == "numbers":
        return [number(each, form_field.measures) for each in re.split(r"[;\s]+", text) if each]
    if form_field.kind == "whole":
        return read_cell("run", text, {})
    return text


def number(text: str, name: str = "voltage_v") -> float:
    """Return a number that was typed with a comma or a point into the named field.

    Refuse a number such as 1,200 with a question, unless only one of its two values is possible.

    >>> number("1,25"), number("1.25"), number(" −3 "), number("1,200")
    (1.25, 1.25, -3.0, 1.2)
    """
    return read_number(text.strip(), name)


def whole(text: str) -> int:
    """Return an integer that one of our pages put into a form; 0 if it is not valid.

    >>> whole("7"), whole("x"), whole("9" * 5000)
    (7, 0, 0)
    """
    return int(text) if re.fullmatch("[0-9]{1,9}", text) else 0


def shaped(shape: type[Shape], filled: Filled, values: Mapping[str, Any]) -> Shape | None:
    """Return the shape made from values, or None with the faults at their fields."""
    if filled.faults:
        return None
    try:
        return shape.model_validate(dict(values))
    except ValidationError as error:
        filled.blame(invalid(error, dict(values)))
        return None


def shown(fields: Iterable[Field], thing: Any) -> dict[str, str]:
    """Return the texts of a stored thing for a form, in the form's units."""
    return {form_field.name: _shown(form_field, thing) for form_field in fields}


def _shown(form_field: Field, thing: Any) -> str:
    spelt = spelling(form_field.name)
    value = getattr(thing, spelt[0] if spelt else form_field.name, None)
    if spelt and value is not None:
        value = (value - spelt[1].offset) / spelt[1].factor
    return clear(form_field.measures, plain(value))


def text_in_unit(form_field: Field, thing: Any) -> str:
    """Return a number of a stored thing to read, with the unit of its field; empty without one.

    >>> from types import SimpleNamespace
    >>> text_in_unit(Field("rotor_diameter_cm"), SimpleNamespace(rotor_diameter_m=0.4501))
    '45.01 cm'
    """
    text = _shown(form_field, thing)
    return f"{localised(float(text), '.4g')} {form_field.own_unit}" if text else ""


def plain(value: Any) -> str:
    """Return a value as the text of a field.

    >>> plain(None), plain(True), plain(False), plain(30.1), plain("Whirl")
    ('', 'yes', '', '30.1', 'Whirl')
    """
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    if isinstance(value, list):
        return "; ".join(plain(each) for each in value)
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def moved(fields: Sequence[Field], before: Any, typed: Mapping[str, str]) -> list[Field]:
    """Return the fields whose text differs from that of the stored thing."""
    before_texts = shown(fields, before)
    return [each for each in fields if typed.get(each.name, "").strip() != before_texts[each.name]]

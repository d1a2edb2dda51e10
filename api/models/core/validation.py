"""Turn the faults of pydantic into sentences for the person who typed the values."""

from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from typing import Any

from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError

from api.errors import ApiError, FieldError, Invalid, Malformed, UnsupportedMedia
from api.messages import say
from api.models.core.shapes import LARGEST_TYPED, Input
from api.models.core.units import likely_units, quantity

VALUE_SHOWN = 100
#: The most faults of one input that are explained; the others are only counted.
MOST_EXPLAINED = 100

#: Codes for the faults that occur; each has a message of its name. Others keep pydantic's words.
CODES = {
    "missing": "missing",
    "extra_forbidden": "unknown_field",
    "finite_number": "not_finite",
    "float_type": "wrong_type",
    "int_type": "wrong_type",
    "int_from_float": "wrong_type",
    "string_type": "wrong_type",
    "string_unicode": "control_character",
    "model_attributes_type": "wrong_type",
    "bool_type": "wrong_type",
    "bool_parsing": "wrong_type",
    "string_pattern_mismatch": "malformed",
}
#: Faults with a code of pydantic, and a message key that differs from the code.
PLAIN = frozenset(
    {
        "list_type", "tuple_type", "dict_type", "int_parsing", "float_parsing",
        "date_from_datetime_parsing", "datetime_from_date_parsing", "datetime_parsing",
    }
)  # fmt: skip
#: The limit that a length is held against.
LENGTHS = {
    "string_too_short": "min_length",
    "string_too_long": "max_length",
    "too_short": "min_length",
    "too_long": "max_length",
}


def explain(error: RequestValidationError) -> ApiError:
    """Return the refusal that a request's faults mean."""
    faults = error.errors()
    if any(fault["type"] == "json_invalid" for fault in faults):
        return Malformed(say("refused.not_json"))
    if isinstance(error.body, bytes):
        return UnsupportedMedia(say("refused.send_json"))
    return refuse(faults, error.body, locate=lambda loc: tuple(loc[1:]))


def refuse(
    faults: Sequence[Any],
    typed: Any,
    locate: Any = tuple,
    most: int = MOST_EXPLAINED,
) -> Invalid:
    """Return one refusal that counts all faults of an input and explains the first ones."""
    errors = [field_error(fault, locate(fault["loc"]), typed) for fault in faults[:most]]
    first, more = errors[0], len(faults) - 1
    where = first.pointer or first.column
    words = say("fault.at", place=where, words=first.detail) if where else first.detail
    if more:
        words = say("fault.and_more", words=words, count=more)
    return Invalid(words, errors, error_count=len(faults))


def invalid(
    error: ValidationError,
    typed: Any,
    prefix: tuple[str | int, ...] = (),
    most: int = MOST_EXPLAINED,
) -> Invalid:
    """Return the refusal that the faults of one shape mean."""
    faults = error.errors(include_url=False)
    return refuse(faults, typed, locate=lambda loc: (*prefix, *loc), most=most)


def field_error(
    fault: Any, loc: tuple[str | int, ...], typed: Any, place: dict[str, Any] | None = None
) -> FieldError:
    """Return one fault in words, at the name under which the value was typed."""
    code, detail = _words(fault)
    where = place or {"pointer": pointer(_as_typed_loc(loc, typed))}
    shown = fault["type"] != "missing"
    return FieldError(
        code,
        detail,
        _hint(fault, loc, typed),
        value=echo(fault["input"]) if shown else None,
        **where,
    )


def _words(fault: Any) -> tuple[str, str]:
    kind, context = fault["type"], fault.get("ctx", {})
    if kind in CODES:
        return CODES[kind], say(f"fault.{kind}")
    if "ge" in context or "le" in context:
        return "out_of_range", _between(_field(fault), context)
    if kind in LENGTHS:
        return kind, say(f"fault.{kind}", count=context[LENGTHS[kind]], **context)
    if kind == "literal_error":
        return kind, say("fault.literal_error", expected=_either(context["expected"]))
    if kind in PLAIN:
        return kind, say(f"fault.{kind}", **context)
    return kind, str(fault["msg"]).removeprefix("Value error, ").removeprefix("Input ")


def _either(expected: str) -> str:
    """Return the values that pydantic lists as those there are.

    >>> _either("'record', 'pitch' or 'load'")
    "'record', 'pitch' or 'load'"
    """
    *before, last = expected.rsplit(" or ", 1)
    return say("fault.either", values=before[0], last=last) if before else last


def _field(fault: Any) -> str:
    """Return the name of the field with a fault; empty if the complete input is at fault."""
    return str(fault["loc"][-1]) if fault["loc"] else ""


def _between(field: str, context: dict[str, Any]) -> str:
    """Return the limits of a field in words; an error of pydantic names only the one passed."""
    measured = quantity(field)
    unit = measured.symbol if measured else ""
    of_unit = "_of_unit" if measured else ""
    if field in LIMITS:
        low, high = LIMITS[field]
        return say(f"fault.between{of_unit}", low=low, high=high, unit=unit)
    if "ge" in context:
        return say(f"fault.at_least{of_unit}", low=context["ge"], unit=unit)
    return say(f"fault.at_most{of_unit}", high=context["le"], unit=unit)


def _hint(fault: Any, loc: tuple[str | int, ...], typed: Any) -> str | None:
    """Return a hint for the correction, if one can be guessed."""
    field, value = _field(fault), fault["input"]
    if fault["type"] == "extra_forbidden":
        return nearest(field, _likely_fields(loc, typed))
    if fault["type"] not in ("greater_than_equal", "less_than_equal") or field not in LIMITS:
        return None
    if not isinstance(value, int | float) or abs(value) > LARGEST_TYPED:
        return None
    units = likely_units(field, float(value), *LIMITS[field])
    return say("fault.hint_unit", units="; ".join(units)) if units else None


def _likely_fields(loc: tuple[str | int, ...], typed: Any) -> set[str]:
    """Return the missing fields of the shapes that match the present fields best."""
    group = typed
    for step in loc[:-1]:
        group = _inside(group, step)
    present = set(group) - {str(loc[-1])} if isinstance(group, dict) else set()
    most = max(len(fields & present) for fields in SHAPES)
    return set().union(*(fields for fields in SHAPES if len(fields & present) == most)) - present


def nearest(name: str, names: Iterable[str]) -> str | None:
    """Return the nearest name to a misspelt one, as a question; first that with its unit.

    >>> nearest("load", ["load_id", "load_ohm"]), nearest("voltige_v", ["voltage_v"])
    ('Did you mean load_ohm?', 'Did you mean voltage_v?')
    """
    known = list(names)
    same_quantity = [each for each in known if (of := quantity(each)) and of.stem == name.lower()]
    close = same_quantity or get_close_matches(name.lower(), known, n=1, cutoff=0.6)
    return say("fault.did_you_mean", name=close[0]) if close else None


def _as_typed_loc(loc: tuple[str | int, ...], typed: Any) -> tuple[str | int, ...]:
    """Return the place of a value under the name it came by, which may carry another unit."""
    here = typed
    named: list[str | int] = []
    for step in loc:
        name = _spelt(step, here)
        named.append(name)
        here = _inside(here, name)
    return tuple(named)


def _spelt(step: str | int, siblings: Any) -> str | int:
    """Return the name under which a field was typed."""
    measured = quantity(str(step))
    if not isinstance(siblings, dict) or step in siblings or measured is None:
        return step
    return next((name for name in measured.spellings() if name in siblings), step)


def _inside(value: Any, step: str | int) -> Any:
    if isinstance(value, dict):
        return value.get(step)
    if isinstance(value, list) and isinstance(step, int) and step < len(value):
        return value[step]
    return None


def pointer(loc: Iterable[str | int]) -> str:
    """Return a place as a JSON pointer (RFC 6901).

    >>> pointer(("runs", 0, "a/b"))
    '/runs/0/a~1b'
    """
    return "".join("/" + echo(str(step)).replace("~", "~0").replace("/", "~1") for step in loc)


def echo(value: Any) -> str:
    """Return an input as a short text that is safe in any answer."""
    if isinstance(value, dict | list):
        return say("fault.a_list") if isinstance(value, list) else say("fault.a_group")
    if isinstance(value, int) and not isinstance(value, bool) and value.bit_length() > 256:
        return say("fault.many_digits")
    if isinstance(value, float):
        return str(value).removesuffix(".0")
    return str(value).encode("utf-8", "backslashreplace")[:VALUE_SHOWN].decode("utf-8", "replace")


def _all_inputs(base: type[Input]) -> set[type[Input]]:
    return {base}.union(*(_all_inputs(child) for child in base.__subclasses__()))


LIMITS: dict[str, tuple[float, float]] = {}
SHAPES: list[set[str]] = []


def learn_fields() -> None:
    """Learn the limits and spellings of every field; called once when all shapes are there."""
    for shape in _all_inputs(Input):
        SHAPES.append(set(shape.model_fields))
        for name, field in shape.model_fields.items():
            bounds = {
                key: getattr(mark, key)
                for mark in _marks(field)
                for key in ("ge", "le")
                if hasattr(mark, key)
            }
            if len(bounds) == 2:
                LIMITS.setdefault(name, (bounds["ge"], bounds["le"]))


def _marks(field: Any) -> list[Any]:
    """Return the marks on a field's type, also inside `… | None`."""
    inner = [
        mark
        for part in getattr(field.annotation, "__args__", ())
        for info in getattr(part, "__metadata__", ())
        for mark in getattr(info, "metadata", [info])
    ]
    return [*field.metadata, *inner]

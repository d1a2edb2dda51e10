"""The unit in which forms ask for wind: the one that a school's wind meter shows."""

from collections.abc import Iterable, Mapping
from dataclasses import replace

from sqlmodel import Session, col

from api.models.registry.organisations import Organisation
from api.services.core.scope import Caller, visible
from api.web import forms
from api.web.field_units import spelling
from api.web.forms import Field
from api.web.wind_names import IN_SI, NAMES, in_unit, posted_unit

#: The key of a school's unit among the values that the fields of a form depend on.
WIND_UNIT = "wind unit"


def asked_in(unit: str, fields: Iterable[Field]) -> list[Field]:
    """Return fields with wind speeds in a unit, and all others as they are.

    >>> [each.label for each in asked_in("mph", [Field("wind_speed_m_s"), Field("load_ohm")])]
    ['Wind speed (mph)', 'Load resistor, as measured (Ω)']
    """
    return [replace(each, name=in_unit(each.name, unit)) for each in fields]


def asked_as_shown(fields: Iterable[Field], typed: Mapping[str, str]) -> list[Field]:
    """Return fields as a posted form showed them, else with wind in the school's unit."""
    return asked_in(posted_unit(typed) or typed.get(WIND_UNIT, IN_SI), fields)


def typed_in(unit: str, typed: Mapping[str, str]) -> dict[str, str]:
    """Return the texts of a form with the wind speeds in SI turned into a unit.

    >>> typed_in("mph", {"wind_speed_m_s": "4.112768", "pitch_deg": "9"})
    {'wind_speed_mph': '9.2', 'pitch_deg': '9'}
    """
    return {in_unit(name, unit): _converted(name, unit, text) for name, text in typed.items()}


def _converted(name: str, unit: str, text: str) -> str:
    spelt = spelling(in_unit(name, unit))
    return forms.plain(float(text) / spelt[1].factor) if spelt and name in NAMES and text else text


def unit_of_school(db: Session, organisation_id: str) -> str:
    """Return the unit of a school."""
    return db.get_one(Organisation, organisation_id).wind_unit


def shared_unit(db: Session, caller: Caller) -> str:
    """Return the unit that all schools in reach chose, or metres a second."""
    chosen = visible(caller, Organisation).with_only_columns(col(Organisation.wind_unit))
    units = set(db.scalars(chosen.distinct()))
    return units.pop() if len(units) == 1 else IN_SI

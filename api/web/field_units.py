"""The units in which forms ask for quantities, where they differ from the API's own."""

from api.models.core.units import Unit, quantity
from api.web import wind_names

#: Units of number fields whose names have no unit of the table.
OTHER_UNITS = {
    "reference_air_density_kg_m3": "kg/m³",
    "pitch_deg": "°",
    "pitch_after_deg": "°",
    "sample_rate_hz": "1/s",
}


def unit_of(name: str) -> str:
    """Return the unit a field is typed in.

    >>> unit_of("rotor_diameter_cm"), unit_of("voltage_v"), unit_of("pitch_deg"), unit_of("size")
    ('cm', 'V', '°', '')
    """
    if name in OTHER_UNITS:
        return OTHER_UNITS[name]
    measured = quantity(name)
    if measured is not None:
        return measured.symbol
    spelt = spelling(name)
    return spelt[1].symbol if spelt else ""


#: Fields of forms in other units than the API's own.
FORM_UNITS = {
    "rotor_diameter_cm": "rotor_diameter_m",
    "chord_root_mm": "chord_root_m",
    "chord_tip_mm": "chord_tip_m",
    "blade_mass_g": "blade_mass_kg",
    "blade_balance_radius_cm": "blade_balance_radius_m",
    "distance_cm": "distance_m",
    "distance_used_cm": "distance_used_m",
    "hub_height_cm": "hub_height_m",
    "tower_side_cm": "tower_side_m",
    "diameter_cm": "diameter_m",
    "assigned_power_mw": "assigned_power_w",
    **wind_names.FORM_UNITS,
}


def spelling(name: str) -> tuple[str, Unit] | None:
    """Return the API field of a form field in another unit, with that unit, or None."""
    own = FORM_UNITS.get(name)
    measured = quantity(own) if own else None
    return (own, measured.spellings()[name]) if own and measured else None


def stem(name: str) -> str:
    """Return a field's name without its unit.

    >>> stem("rotor_diameter_cm"), stem("voltage_v"), stem("size")
    ('rotor_diameter', 'voltage', 'size')
    """
    own = FORM_UNITS.get(name, name)
    measured = quantity(own)
    return measured.stem if measured else name

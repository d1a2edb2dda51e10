"""The names of wind speeds in forms, in each unit that a school may choose."""

from collections.abc import Mapping

IN_SI = "m_s"
#: The units that a school may choose, by the ends of field names.
UNITS = (IN_SI, "km_h", "mph", "kn")
#: The points at which the wind of a bench is measured.
POINTS = 5
#: The wind speeds that forms ask for, without their units.
SPEEDS = ("wind_speed", "wind_speed_start", "wind_speed_end", "monitor_wind_speed",
          *(f"point_{at}" for at in range(POINTS)))  # fmt: skip
#: The fields of forms in other units than the API's own.
FORM_UNITS = {
    f"{speed}_{unit}": f"{speed}_{IN_SI}" for speed in SPEEDS for unit in UNITS if unit != IN_SI
}
NAMES = {f"{speed}_{unit}": (speed, unit) for speed in SPEEDS for unit in UNITS}


def in_unit(name: str, unit: str) -> str:
    """Return the name of a field in a unit of wind speed; other fields keep theirs.

    >>> in_unit("wind_speed_start_m_s", "mph"), in_unit("load_ohm", "mph")
    ('wind_speed_start_mph', 'load_ohm')
    """
    return f"{NAMES[name][0]}_{unit}" if name in NAMES else name


def posted_unit(typed: Mapping[str, str]) -> str | None:
    """Return the unit in which a posted form was shown; None if it did not ask for wind.

    >>> posted_unit({"wind_speed_kn": "8", "load_ohm": "22"}), posted_unit({"load_ohm": "22"})
    ('kn', None)
    """
    return next((NAMES[name][1] for name in typed if name in NAMES), None)

"""Types for typed values: bounded, finite, free of control characters.

Limits are hard: values outside of them cannot belong to a model turbine, or are
physically impossible. A limit is part of its type, so the OpenAPI document, the
refusal and the hint all have it.
"""

import re
import unicodedata
from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal, TypeAlias
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, AwareDatetime, BeforeValidator, Field, StringConstraints

from api.models.core.faults import fault

# --- text -----------------------------------------------------------------------------------

#: Marks that turn the direction of text, and so can make a line read as another.
BIDI = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def _storable(text: str, allowed: str = "") -> str:
    """Return text in composed form; refuse what a database or a reader could trip over."""
    for character in text:
        category = unicodedata.category(character)
        is_none = ord(character) & 0xFFFE == 0xFFFE  # no character, and no file holds it
        if (category in ("Cc", "Cs") and character not in allowed) or character in BIDI or is_none:
            raise fault("control_character", "fault.control_character", sign=ord(character))
    return unicodedata.normalize("NFC", text)


#: Letters that are drawn as nothing at all.
FILLERS = frozenset("\u115f\u1160\u2800\u3164\uffa0")
#: Invisible, but part of how some languages and signs are written.
JOINERS = frozenset("\u200c\u200d")


def _visible(text: str) -> str:
    """Return a name with single spaces; refuse letters that look like others."""
    for character in text:
        is_unseen = unicodedata.category(character) == "Cf" and character not in JOINERS
        if is_unseen or character in FILLERS:
            raise fault("invisible_character", "fault.invisible_character", sign=ord(character))
    return " ".join(text.split())


def _storable_lines(text: str) -> str:
    return _storable(text, allowed="\n\r\t")


def _text(most: int, least: int = 1) -> Any:
    return StringConstraints(strip_whitespace=True, min_length=least, max_length=most)


Label: TypeAlias = Annotated[str, _text(80), AfterValidator(_storable), AfterValidator(_visible)]
Reason: TypeAlias = Annotated[str, _text(400), AfterValidator(_storable)]
Note: TypeAlias = Annotated[str, _text(500, 0), AfterValidator(_storable_lines)]
ClientRef: TypeAlias = Annotated[str, _text(60), AfterValidator(_storable)]

#: Only ASCII: letters of other scripts fold into each other in ways that let one address pass for
#: another's.
EMAIL = re.compile(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)*")


def _email(typed: str) -> str:
    if not EMAIL.fullmatch(typed):
        raise fault("email", "fault.email")
    return typed.lower()


EmailAddress: TypeAlias = Annotated[str, _text(254), AfterValidator(_email)]

DEEPEST = 12


def _plain_data(data: Any, depth: int = 0) -> Any:
    """Refuse text that cannot be stored, and endless nesting, anywhere inside free JSON."""
    if depth > DEEPEST:
        raise fault("too_deep", "fault.too_deep")
    if isinstance(data, dict):
        return {_storable(key): _plain_data(value, depth + 1) for key, value in data.items()}
    if isinstance(data, list):
        return [_plain_data(value, depth + 1) for value in data]
    if isinstance(data, int | float) and not abs(data) <= 2**53:
        raise fault("too_large", "fault.too_large")
    return _storable(data, allowed="\n\r\t") if isinstance(data, str) else data


Data: TypeAlias = Annotated[dict[str, Any], AfterValidator(_plain_data)]

# --- time -----------------------------------------------------------------------------------

_RFC3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d(:\d\d(\.\d{1,9})?)?([Zz]|[+-]\d\d:\d\d)")
_DATE = re.compile(r"\d{4}-\d\d-\d\d")
FIRST_YEAR, LAST_YEAR = 2000, 2100


def _written_moment(typed: Any) -> Any:
    """Refuse numbers and naive times before they are read as something else."""
    if isinstance(typed, datetime) or (isinstance(typed, str) and _RFC3339.fullmatch(typed)):
        return typed
    raise fault("moment", "fault.moment")


def _written_date(typed: Any) -> Any:
    if isinstance(typed, date) or (isinstance(typed, str) and _DATE.fullmatch(typed)):
        return typed
    raise fault("date_form", "fault.date_form")


def _in_our_century(moment: datetime) -> datetime:
    # By the year as it was written and by the one it is stored with, which may be the next.
    try:
        stored = moment.astimezone(UTC)
    except OverflowError:
        stored = moment
    if not all(FIRST_YEAR < each.year < LAST_YEAR for each in (moment, stored)):
        raise fault("moment_range", "fault.moment_range")
    return stored


def _date_in_our_century(day: date) -> date:
    if not FIRST_YEAR < day.year < LAST_YEAR:
        raise fault("moment_range", "fault.moment_range")
    return day


def _known_zone(name: str) -> str:
    try:
        return ZoneInfo(name).key
    except (OSError, ValueError, KeyError) as error:
        raise fault("timezone", "fault.timezone") from error


Moment: TypeAlias = Annotated[
    AwareDatetime, BeforeValidator(_written_moment), AfterValidator(_in_our_century)
]
Day: TypeAlias = Annotated[
    date, BeforeValidator(_written_date), AfterValidator(_date_in_our_century)
]
Zone: TypeAlias = Annotated[str, _text(60), AfterValidator(_storable), AfterValidator(_known_zone)]

# --- numbers --------------------------------------------------------------------------------


def _number(low: float, high: float, unit: str, words: str) -> Any:
    return Field(
        strict=True,
        ge=low,
        le=high,
        allow_inf_nan=False,
        description=f"{words} [{unit}]",
        json_schema_extra={"x-unit": unit},
    )


def _count(low: int, high: int, words: str) -> Any:
    return Field(strict=True, ge=low, le=high, description=words)


Altitude: TypeAlias = Annotated[float, _number(-430, 5000, "m", "Height above sea level.")]
AirTemperature: TypeAlias = Annotated[float, _number(-20, 50, "°C", "Air temperature.")]
Pressure: TypeAlias = Annotated[
    float, _number(500, 1090, "hPa", "Station pressure, not reduced to sea level.")
]
Humidity: TypeAlias = Annotated[float, _number(0, 100, "%", "Relative humidity.")]
WindSpeed: TypeAlias = Annotated[
    float, _number(0.3, 20, "m/s", "Wind speed at the rotor plane, rotor absent.")
]
ReferenceWindSpeed: TypeAlias = Annotated[
    float, _number(2, 10, "m/s", "Wind speed that powers are converted to.")
]
AirDensity: TypeAlias = Annotated[
    float, _number(0.7, 1.5, "kg/m³", "Air density that powers are converted to.")
]
Minutes: TypeAlias = Annotated[float, _number(0, 240, "min", "Fan warm-up before the first run.")]
RotorDiameter: TypeAlias = Annotated[
    float, _number(0.1, 1.5, "m", "Diameter of the tip circle, tip to tip.")
]
Chord: TypeAlias = Annotated[float, _number(0.002, 0.5, "m", "Blade chord.")]
BalanceRadius: TypeAlias = Annotated[
    float, _number(0.005, 0.75, "m", "From the axis to the blade's balance point.")
]
BladeMass: TypeAlias = Annotated[float, _number(0.0002, 0.5, "kg", "Mass of one blade.")]
BladeCount: TypeAlias = Annotated[int, _count(1, 24, "Number of blades.")]
Pitch: TypeAlias = Annotated[
    float, _number(-10, 90, "°", "Blade pitch at 0.75 of the radius; 0 is flat in the rotor plane.")
]
Load: TypeAlias = Annotated[float, _number(0.05, 1e6, "Ω", "Load resistance as measured.")]
MeterRange: TypeAlias = Annotated[
    float, _number(0.001, 1000, "V", "Range the voltmeter was turned to.")
]
Voltage: TypeAlias = Annotated[
    float, _number(-60, 60, "V", "Direct voltage across the load; the sign does not matter.")
]
Current: TypeAlias = Annotated[float, _number(-10, 10, "A", "Current through the load.")]
RotorSpeed: TypeAlias = Annotated[float, _number(0, 20_000, "1/min", "Speed of the rotor.")]
Duration: TypeAlias = Annotated[float, _number(1, 3600, "s", "How long the run lasted.")]
SampleRate: TypeAlias = Annotated[float, _number(0.01, 10_000, "1/s", "Samples a second.")]
BenchDistance: TypeAlias = Annotated[
    float, _number(0.05, 20, "m", "From the fan to the rotor plane.")
]
HubHeight: TypeAlias = Annotated[float, _number(0.05, 5, "m", "Hub above the floor.")]
TunnelArea: TypeAlias = Annotated[
    float, _number(0.01, 10, "m²", "Section of a tunnel; leave out before an open fan.")
]
GearRatio: TypeAlias = Annotated[
    float, _number(0.1, 200, "-", "Turns of the generator for one turn of the rotor.")
]
TowerSide: TypeAlias = Annotated[float, _number(0.01, 5, "m", "Side of the tower's footprint.")]
TowerMass: TypeAlias = Annotated[float, _number(0.01, 100, "kg", "Mass of tower and base.")]
AssignedPower: TypeAlias = Annotated[
    float, _number(1e-6, 100, "W", "Assigned power of a reference rotor at the reference.")
]
PairReading: TypeAlias = Annotated[
    float, _number(1e-6, 1e6, "same", "What an instrument showed, in the unit of the other.")
]
Spares: TypeAlias = Annotated[int, _count(0, 50, "How many spare parts are with it.")]
GridRadius: TypeAlias = Annotated[
    float, _number(-1.3, 1.3, "rotor radii", "Where a wind grid's point lies, from the axis.")
]
BestOf: TypeAlias = Annotated[int, _count(1, 10, "How many runs.")]
TeamSize: TypeAlias = Annotated[int, _count(1, 12, "How many pupils; no names.")]
BuildNumber: TypeAlias = Annotated[int, _count(1, 10_000, "Which state of the turbine.")]
ReportFormat: TypeAlias = Literal["json", "csv", "xlsx", "html", "pdf"]

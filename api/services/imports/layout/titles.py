"""Read a title by its meaning: its column, its unit, and the number of its reading."""

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

from api.models.core.units import quantity
from api.services.imports.headers import LONGEST_TITLE, SPELLINGS, UNIT_WORDS
from api.services.imports.layout.title_words import CALCULATED, PEOPLE, REMARKS, WORDS

#: Columns of which a sheet may have several: one for each reading of a trial.
OF_READINGS = ("voltage_v", "current_a", "rotor_speed_rpm", "wind_speed_m_s")
#: Symbols that are titles only together with a number or a unit.
SYMBOLS = {"v": "voltage_v", "u": "voltage_v", "i": "current_a", "r": "load_ohm",
           "n": "rotor_speed_rpm", "t": "air_temperature_c", "p": "pressure_hpa",
           "d": "rotor_diameter_m"}  # fmt: skip
IN_BRACKETS = re.compile(r"(?P<name>[^(\[]*)[(\[](?P<unit>[^)\]]*)[)\]](?P<rest>.*)", re.DOTALL)
AFTER_SIGN = re.compile(r"(?P<name>.+?)(?:\s*[/:,;]\s*|\s+in\s+)(?P<unit>\S+)")
NUMBERED = re.compile(r"(?P<name>.*?[^0-9])[ _#.\-]*(?P<number>[1-9][0-9]?)")
MEANS = {word: column for column, words in WORDS.items() for word in words}
NOT_READ = {
    **dict.fromkeys(REMARKS, "remark"),
    **dict.fromkeys(CALCULATED, "calculated"),
    **dict.fromkeys(PEOPLE, "person"),
}


@dataclass(frozen=True, slots=True)
class Title:
    """What a title means.

    `column` is empty if it is not read; `why` then says why: `remark`, `calculated`, `person`,
    `unknown`, or `unit` for a known quantity in an unknown unit. `key` is the name of the column
    with the unit of the title; `has_unit` tells whether it has one; `number` is that of a reading.
    """

    column: str = ""
    key: str = ""
    has_unit: bool = False
    number: int | None = None
    why: str = ""


def plain(text: str) -> str:
    """Return a title in lower case, without accents and signs.

    >>> plain("Température  de l'air"), plain("U_Spannung")
    ('temperature de l air', 'u spannung')
    """
    folded = unicodedata.normalize("NFKD", text.replace("ß", "ss").casefold())
    bare = "".join(letter for letter in folded if not unicodedata.combining(letter))
    return " ".join(re.sub(r"[^\w%°]|_", " ", bare).split())


@lru_cache(maxsize=4096)
def read_title(text: str) -> Title:
    """Return what a title means.

    >>> read_title("Wind (mph)").key, read_title("Temp C").key, read_title("U2 / mV").number
    ('wind_speed_mph', 'air_temperature_c', 2)
    >>> read_title("Blattwinkel °").column, read_title("Shoe size").why
    ('pitch_deg', 'unknown')
    """
    if len(text) > LONGEST_TITLE or not text.strip():
        return Title(why="unknown" if text.strip() else "")
    fault = ""
    for name, unit, number in _splits(text):
        column = _column_of(name, number, unit)
        if column is None:
            fault = fault or NOT_READ.get(name, "")
            continue
        if number is not None and column not in OF_READINGS:
            continue
        key = column if not unit else with_unit(column, unit)
        if key is not None:
            return Title(column, key, bool(unit) or _says_unit(name, column), number)
        fault = "unit"
    return Title(why=fault or "unknown")


def chosen_title(text: str, column: str, why: str) -> Title:
    """Return the title of a column that a person chose, in the unit that its text has.

    A single letter after a blank, as in `Sensor F`, is not taken for a unit.

    >>> chosen_title("Blow (km/h)", "wind_speed_m_s", "chosen").key
    'wind_speed_km_h'
    >>> chosen_title("Sensor F", "air_temperature_c", "chosen").key
    'air_temperature_c'
    """
    text = " ".join(unicodedata.normalize("NFKC", text[:LONGEST_TITLE]).split())
    for name, unit in _names_and_units(text):
        is_sure = len(unit) > 1 or text != f"{name} {unit}"
        key = with_unit(column, unit) if unit and is_sure else None
        if key is not None:
            return Title(column, key, has_unit=True, why=why)
    return Title(column, column, why=why)


def _column_of(name: str, number: int | None, unit: str) -> str | None:
    """Return the column that a name means; a bare symbol needs a number or a unit beside it.

    A numbered reading, as in `Reading 2` or `Trial 2`, is one of volts.
    """
    if number is not None and MEANS.get(name) in ("run", "trial_number"):
        return "voltage_v"
    has_more = bool(unit) or number is not None
    known = SPELLINGS.get(name.replace(" ", "_"))
    if known is not None and known[1] is None:
        return known[0]
    return MEANS.get(name) or (SYMBOLS.get(name) if has_more else None)


def _says_unit(name: str, column: str) -> bool:
    """Tell whether a name says its unit itself: volts, rpm, or the name of a field."""
    return name in ("volts", "volt", "amps", "rpm") or name.replace(" ", "_") == column


def _splits(text: str) -> Iterator[tuple[str, str, int | None]]:
    """Yield the ways to split a title into a name, a unit and the number of a reading."""
    text = " ".join(unicodedata.normalize("NFKC", text).replace("_", " ").split())
    for name, unit in _names_and_units(text):
        if (spelled := SPELLINGS.get(plain(name).replace(" ", "_"))) and spelled[1]:
            yield spelled[0].replace("_", " "), unit or _suffix(name), None
        yield plain(name), unit, None
        numbered = NUMBERED.fullmatch(name.strip())
        if numbered:
            yield plain(numbered["name"]), unit, int(numbered["number"])


def _suffix(name: str) -> str:
    """Return the unit at the end of a field's name, as `mph` in `wind speed mph`."""
    key = plain(name).replace(" ", "_")
    column = SPELLINGS[key][0]
    measured = quantity(column)
    return key.removeprefix(f"{measured.stem}_") if measured else ""


def _names_and_units(text: str) -> Iterator[tuple[str, str]]:
    brackets = IN_BRACKETS.fullmatch(text)
    if brackets:
        yield f"{brackets['name']} {brackets['rest']}".strip(), brackets["unit"].strip()
    yield text, ""
    sign = AFTER_SIGN.fullmatch(text)
    if sign:
        yield sign["name"], sign["unit"]
    name, _, unit = text.rpartition(" ")
    if name:
        yield name, unit


def with_unit(column: str, written: str) -> str | None:
    """Return the key of a column in a unit as people write it; None if it is no unit of it."""
    measured = quantity(column)
    unit = unit_suffix(written)
    if column == "load_ohm" and unit in ("k", "r"):
        unit = {"k": "kohm", "r": "ohm"}[unit]
    if column == "pitch_deg" and unit == "deg":
        return column
    if measured is None or unit is None:
        return None
    key = f"{measured.stem}_{unit}"
    return key if key == column or SPELLINGS.get(key, ("",))[0] == column else None


def unit_suffix(written: str) -> str | None:
    """Return the suffix of a unit as people write it.

    >>> unit_suffix("Ω"), unit_suffix("m/s"), unit_suffix("km/h"), unit_suffix("°F")
    ('ohm', 'm_s', 'km_h', 'f')
    """
    text = unicodedata.normalize("NFKC", written).strip().strip(".").casefold()
    return UNITS.get(text) or UNIT_WORDS.get(text) or re.sub(r"[/\s]+", "_", text) or None


#: Further ways to write units, in the languages of titles.
UNITS = {
    "m/s": "m_s", "ms": "m_s", "m.s-1": "m_s", "m s-1": "m_s", "mps": "m_s", "km/h": "km_h",
    "kt": "kn", "kts": "kn", "knoten": "kn", "noeuds": "kn", "nudos": "kn", "nodi": "kn",
    "nos": "kn", "knopen": "kn", "ohm": "ohm", "kohm": "kohm",
    "k\u03c9": "kohm", "grad": "deg", "degre": "deg", "degres": "deg", "grados": "deg",
    "graus": "deg", "gradi": "deg", "graden": "deg", "°": "deg", "deg": "deg", "u/min": "rpm",
    "min-1": "rpm", "tr/min": "rpm", "tours/min": "rpm", "giri/min": "rpm", "r/min": "rpm",
    "rev/min": "rpm", "omw/min": "rpm", "prozent": "pct", "pourcent": "pct", "% rh": "pct",
    "%rh": "pct", "rh": "pct", "sekunden": "s", "sec": "s", "secs": "s", "minuten": "min",
    "mins": "min", "hpa": "hpa", "mb": "hpa", "millibar": "hpa",
}  # fmt: skip

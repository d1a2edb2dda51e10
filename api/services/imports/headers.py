"""Map a file's column titles to columns, regardless of case and spaces; read units in brackets."""

import re
import unicodedata
from dataclasses import dataclass
from difflib import get_close_matches

from api.errors import FieldError, Invalid
from api.messages import say
from api.models.core.units import Unit, quantity

#: The columns that name the build of a row; and with its bench, session and kind.
BUILD_COLUMNS = ("organisation", "team", "turbine", "build")
PLACE_COLUMNS = (*BUILD_COLUMNS, "bench", "session_started_at", "kind")
#: The same with the organisation of the bench, which few files need.
NAME_COLUMNS = (*PLACE_COLUMNS, "bench_organisation")
#: The columns of the template, in its order.
TEMPLATE_COLUMNS = (
    *PLACE_COLUMNS,
    "client_ref",
    "run",
    "pitch_deg",
    "load_ohm",
    "load_connected",
    "voltage_v",
    "current_a",
    "rotor_speed_rpm",
    "wind_speed_m_s",
    "meter_range_v",
    "air_temperature_c",
    "pressure_hpa",
    "relative_humidity_pct",
    "warm_up_min",
    "adult_present",
    "duration_s",
    "rotor_diameter_m",
    "note",
)
#: Columns that few files need: an export has those that its trials fill.
RARE_COLUMNS = (
    "bench_organisation",
    "pitch_after_deg",
    "blade_pitches_deg",
    "load_id",
    "trial_wind_speed_m_s",
    "series_voltage_v",
    "sample_rate_hz",
)
COLUMNS = (*TEMPLATE_COLUMNS, *RARE_COLUMNS)
TEXT_COLUMNS = (
    "organisation",
    "team",
    "turbine",
    "bench",
    "session_started_at",
    "kind",
    "client_ref",
    "note",
    "bench_organisation",
    "load_id",
)
#: Cells that hold several numbers, with spaces between them.
LIST_COLUMNS = ("blade_pitches_deg", "series_voltage_v")
NUMBER_COLUMNS = tuple(
    name
    for name in COLUMNS
    if name not in (*TEXT_COLUMNS, "build", "run", "load_connected", "adult_present")
)
#: Columns of our own files that an import ignores.
PASSED_OVER = ("problem", "row", "state", "trial_id")
MOST_COLUMNS, LONGEST_TITLE = 200, 100
ALIASES = {
    "school": "organisation",
    "club": "organisation",
    "started_at": "session_started_at",
    "session": "session_started_at",
    "build_number": "build",
    "reference": "client_ref",
    "load": "load_ohm",
    "resistance": "load_ohm",
    "volts": "voltage_v",
    "rpm": "rotor_speed_rpm",
    "temperature": "air_temperature_c",
    "humidity": "relative_humidity_pct",
    "diameter": "rotor_diameter_m",
    "pitch": "pitch_deg",
}
#: How people write units, and the suffix each means.
UNIT_WORDS = {
    "°": "deg",
    "degrees": "deg",
    "°c": "c",
    "degc": "c",
    "celsius": "c",
    "°f": "f",
    "degf": "f",
    "%": "pct",
    "percent": "pct",
    "ω": "ohm",
    "ohms": "ohm",
    "kω": "kohm",
    "volt": "v",
    "volts": "v",
    "amp": "a",
    "amps": "a",
    "1/min": "rpm",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "sec": "s",
    "seconds": "s",
    "minutes": "min",
    "knots": "kn",
    "kmh": "km_h",
    "kph": "km_h",
    "mbar": "hpa",
    "torr": "mmhg",
}


@dataclass(frozen=True, slots=True)
class Header:
    """The columns of a file.

    `keys` are field names, which may have another unit (`wind_speed_mph`); `fields` maps each key
    to its column; columns with an empty key are ignored.
    """

    titles: list[str]
    keys: list[str]
    fields: dict[str, str]

    def title(self, field: str) -> str:
        """Return the title of a field in the file, or its own name."""
        key = next((key for key, column in self.fields.items() if column == field), None)
        return self.titles[self.keys.index(key)] if key is not None else field


def _spellings() -> dict[str, tuple[str, Unit | None]]:
    """Return every name a column may have, with its unit if that is not SI."""
    spellings: dict[str, tuple[str, Unit | None]] = {name: (name, None) for name in COLUMNS}
    for name in COLUMNS:
        measured = quantity(name)
        if measured is not None:
            spellings.setdefault(measured.stem, (name, None))
            spellings |= {key: (name, unit) for key, unit in measured.spellings().items()}
    return {alias: (name, None) for alias, name in ALIASES.items()} | spellings


SPELLINGS = _spellings()


def read_header(titles: list[str]) -> Header:
    """Return the columns of a file's first row, or refuse it with all wrong titles."""
    titles = [title.strip() for title in titles]
    while titles and not titles[-1]:
        titles.pop()
    if len(titles) > MOST_COLUMNS:
        words = say("import_header.many", count=len(titles), most=MOST_COLUMNS)
        raise Invalid(words, [FieldError("columns", words, row=1)])
    keys = [_key(title) for title in titles]
    faults = [_unknown(title) for title, key in zip(titles, keys, strict=True) if key is None]
    fields = {key: SPELLINGS[key][0] for key in keys if key and key in SPELLINGS}
    columns = [SPELLINGS[key][0] for key in keys if key]
    faults += [_twice(name) for name in sorted({c for c in columns if columns.count(c) > 1})]
    if faults:
        raise Invalid(say("import_header.refused"), faults)
    return Header(
        titles, [_plain(str(key)) for key in keys], {_plain(k): c for k, c in fields.items()}
    )


def _plain(key: str) -> str:
    """Return the field name of a key: in SI unless the title has another unit."""
    column, unit = SPELLINGS.get(key, ("", None))
    return key if unit is not None else column


def _key(title: str) -> str | None:
    """Return the key of a title: empty if it is ignored, None if it is unknown."""
    if len(title) > LONGEST_TITLE:
        return None
    text = unicodedata.normalize("NFKC", title).strip().lower()
    parts = re.fullmatch(r"([^(\[]*)[(\[]([^)\]]*)[)\]]", text)
    name = re.sub(r"[\s\-]+", "_", (parts[1] if parts else text).strip())
    if name in PASSED_OVER:
        return ""
    if parts is None:
        return name if name in SPELLINGS else None
    return _with_unit(name, parts[2].strip())


def _with_unit(name: str, written: str) -> str | None:
    """Return the key of a name with its unit in brackets."""
    unit = UNIT_WORDS.get(written, re.sub(r"[/\s]+", "_", written))
    column = SPELLINGS.get(name, (None, None))[0]
    measured = quantity(column) if column else None
    if column == "pitch_deg" and unit == "deg":
        return column
    if measured is None or column is None:
        return None
    key = f"{measured.stem}_{unit}"
    return key if key in SPELLINGS else None


def _unknown(title: str) -> FieldError:
    name = re.sub(r"[\s\-]+", "_", title[:LONGEST_TITLE].lower())
    close = get_close_matches(name, list(SPELLINGS), n=1, cutoff=0.6)
    hint = (
        say("import_hint.did_you_mean", near=close[0])
        if close
        else say("import_header.columns", listed=", ".join(TEMPLATE_COLUMNS))
    )
    words, shown = say("import_header.unknown"), title or say("import_header.empty_title")
    return FieldError("unknown_column", words, hint, row=1, column=shown)


def _twice(name: str) -> FieldError:
    words, hint = say("import_header.twice", name=name), say("import_header.twice_hint")
    return FieldError("column_twice", words, hint, row=1, column=name)

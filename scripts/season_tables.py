"""Read the tables of a season's folder: rows as they were typed, and what their cells mean."""

import csv
import io
import json
import re
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from client import Refused

#: Tables in the order of their dependencies, with the columns that each may have.
TABLES: dict[str, tuple[str, tuple[str, ...]]] = {
    "season": ("seasons", ("name", "starts_on", "ends_on", "timezone", "reference_wind_speed_m_s",
                           "reference_air_density_kg_m3")),
    "organisations": ("organisations", ("name", "altitude_m", "timezone", "sharing")),
    "equipment": ("equipment", ("organisation", "kind", "tag", "condition", "spares", "note")),
    "teams": ("teams", ("organisation", "name", "entry_class", "age_band", "size")),
    "turbines": ("turbines", ("organisation", "team", "name", "rotor", "generator", "gear_ratio",
                              "tower_side_m", "tower_mass_kg", "hub_height_m")),
    "builds": ("builds", ("organisation", "team", "turbine", "number", "changed_factor",
                          "rotor_diameter_m", "blade_count", "chord_root_m", "chord_tip_m",
                          "blade_mass_kg", "blade_balance_radius_m", "blade_fixing", "material",
                          "pitch_deg", "load_ohm", "assigned_power_w", "note")),
    "benches": ("benches", ("organisation", "name", "room", "fan", "fan_setting", "distance_m",
                            "hub_height_m", "anemometer", "tunnel_area_m2", "note")),
    "events": ("events", ("name", "held_on", "place", "wind_speed_m_s", "best_of", "note")),
}  # fmt: skip
#: Columns for the data sheets of equipment.
SPEC_COLUMNS = ("diameter_m", "type", "counts", "percent", "digits", "nominal_ohm", "measured_ohm",
                "tolerance_pct", "rated_power_w", "emf_constant_v_s_rad",
                "winding_resistance_ohm", "brush_drop_v", "class")  # fmt: skip
LOAN_COLUMNS = ("equipment", "organisation", "lent_on", "due_on", "condition_out", "spares_out",
                "signed_by", "note")  # fmt: skip
GRID_COLUMNS = ("organisation", "bench", "x_radii", "y_radii", "wind_speed_m_s",
                "monitor_wind_speed_m_s")  # fmt: skip
WHOLE_NUMBERS = ("size", "blade_count", "number", "counts", "best_of", "spares", "spares_out")
NUMBERS = ("percent", "digits", "gear_ratio", "x_radii", "y_radii")
#: Unit suffixes of numeric columns; a column may have another unit of the same quantity.
UNITS = ("m", "cm", "mm", "in", "ft", "deg", "ohm", "kohm", "kg", "g", "oz", "w", "mw", "v", "mv",
         "pct", "m2", "cm2", "m_s", "mph", "km_h", "kn", "v_s_rad", "kg_m3")  # fmt: skip
#: Columns with numbers that can be a thousand or more, so that 1,200 in them is ambiguous.
THOUSANDS = ("_ohm", "_kohm", "_g", "_mm", "_cm", "_cm2", "_mw", "_mv", "altitude_m", "altitude_ft")
AMBIGUOUS = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")

Row = dict[str, str]


class WrongRow(Exception):
    """An error in one row, described in words."""


def read_table(path: Path, columns: tuple[str, ...]) -> list[tuple[int, Row]]:
    """Return a table's rows, numbered as in a spreadsheet; an empty list if there is no file."""
    if not path.is_file():
        return []
    try:
        text = path.read_text(encoding="utf-8-sig")
        delimiter = max(",;\t", key=text.split("\n", 1)[0].count)
        records = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except UnicodeDecodeError as error:
        words = f"{path.name} is not UTF-8: save it as 'CSV UTF-8'"
        raise Refused(words) from error
    except csv.Error as error:
        words = f"{path.name} cannot be cut into cells: {error}"
        raise Refused(words) from error
    header = [title.strip() for title in records[0]] if records else []
    allowed = columns if path.stem != "equipment" else (*columns, *SPEC_COLUMNS)
    _require_columns(path.name, header, allowed)
    rows = []
    for number, record in enumerate(records[1:], start=2):
        if not any(cell.strip() for cell in record):
            continue
        if len(record) != len(header):
            words = f"has {len(record)} cells, and the header {len(header)}"
            raise Refused(f"{path.name} row {number} {words}")
        rows.append((number, dict(zip(header, map(str.strip, record), strict=True))))
    _require_clear_numbers(path.name, rows)
    return [(number, {column: _point(cell, delimiter) for column, cell in row.items()})
            for number, row in rows]  # fmt: skip


def _require_clear_numbers(name: str, rows: list[tuple[int, Row]]) -> None:
    """Refuse a number such as 1,200 if no other cell of its column shows the decimal sign."""
    for column in rows[0][1] if rows else ():
        cells = {number: row[column] for number, row in rows if column.endswith(THOUSANDS)}
        clear = "".join(cell for cell in cells.values() if not AMBIGUOUS.fullmatch(cell))
        for number, cell in cells.items():
            if AMBIGUOUS.fullmatch(cell) and ("," if "," in cell else ".") not in clear:
                either = f"{cell.replace(',', '.')} or {re.sub('[.,]', '', cell)}"
                words = f"{name} row {number}, column {column}: '{cell}' may mean {either}"
                words += "; write it with another number of decimals or without"
                raise Refused(words)


def _point(cell: str, delimiter: str) -> str:
    """Return a number with a decimal point, unless commas separate the cells."""
    is_number = delimiter != "," and re.fullmatch(r"[+-]?\d+,\d+", cell)
    return cell.replace(",", ".") if is_number else cell


def _require_columns(name: str, header: list[str], allowed: tuple[str, ...]) -> None:
    """Refuse a table with a column that it cannot have."""
    stems = {_stem(column) for column in allowed if _stem(column) != column}
    for title in header:
        if title not in allowed and not (_stem(title) != title and _stem(title) in stems):
            near = get_close_matches(title, allowed, n=1)
            hint = f"did you mean {near[0]}?" if near else f"there are: {', '.join(allowed)}"
            words = f"{name}: '{title}' is not a column of this table; {hint}"
            raise Refused(words)


def _stem(column: str) -> str:
    """Return a column's name without its unit; the name itself if it has none."""
    for unit in sorted(UNITS, key=len, reverse=True):
        if column.endswith(f"_{unit}"):
            return column.removesuffix(f"_{unit}")
    return column


def value_of(column: str, cell: str) -> Any:
    """Return a cell's value: a number if the column is numeric, else text."""
    is_number = column in (*WHOLE_NUMBERS, *NUMBERS) or _stem(column) != column
    if not is_number:
        return cell
    try:
        return int(cell) if column in WHOLE_NUMBERS else float(cell)
    except ValueError as error:
        raise WrongRow(f"column {column}: '{cell}' is not a number") from error


def read_rules(path: Path) -> dict[str, Any] | None:
    """Return the rule set of a folder's events, or None if there is none."""
    if not path.is_file():
        return None
    try:
        rules: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise Refused(f"{path.name} is not JSON: {error}") from error
    return rules

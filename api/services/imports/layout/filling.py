"""Repeat what is written once for several rows: names, days, and the setting of a trial."""

from collections.abc import Sequence
from itertools import pairwise

from api.services.imports.layout.rows import Row
from api.services.imports.layout.tables import FoundTable
from api.services.imports.layout.titles import OF_READINGS
from api.services.imports.workbook_child import MERGED

#: Columns that name where and with what a trial was run, from the outside in.
NAMING = (
    "organisation",
    "bench",
    "session_started_at",
    "time_of_day",
    "team",
    "turbine",
    "build",
    "kind",
)
#: Columns that are filled in only for a row that names nothing itself.
SETTING = ("pitch_deg", "load_ohm", "load_connected", "wind_speed_m_s", "air_temperature_c",
           "pressure_hpa", "relative_humidity_pct", "warm_up_min", "adult_present",
           "meter_range_v", "rotor_diameter_m", "trial_number", "client_ref")  # fmt: skip


def fill(table: FoundTable) -> dict[str, list[int]]:
    """Fill the empty cells of a table from the rows above, in place; return the rows by title.

    A name is repeated only if the sheet writes each name once: where neighbours repeat a name, an
    empty cell was forgotten. The setting is repeated in rows that name nothing themselves.
    """
    width = len(table.titles)
    rows = [cells[:width] + [""] * (width - len(cells)) for _, cells in table.rows]
    table.rows = list(zip((number for number, _ in table.rows), rows, strict=True))
    _note_labels(table)
    naming = [at for name in NAMING for at in table.places(name)]
    is_once = {at: _is_written_once([cells[at] for _, cells in table.rows]) for at in naming}
    setting = [at for name in SETTING for at in _single(table, name)]
    filled: dict[str, list[int]] = {}
    above: list[str] = []
    for number, cells in table.rows:
        names_nothing = bool(naming) and not any(_own(cells[at]) for at in naming)
        for at in (*naming, *setting):
            is_open = not cells[at] and (is_once.get(at, False) if at in is_once else names_nothing)
            if above and above[at] and (is_open or cells[at] == MERGED):
                cells[at] = above[at]
                filled.setdefault(table.titles[at], []).append(number)
        above = cells
    return filled


def _single(table: FoundTable, name: str) -> list[int]:
    """Return the position of a column, unless it has one for each reading."""
    places = table.places(name)
    return places if len(places) == 1 or name not in OF_READINGS else []


def _own(cell: str) -> str:
    return "" if cell == MERGED else cell


def _is_written_once(cells: Sequence[str]) -> bool:
    """Tell whether a column has empty cells, and no name in two rows that follow each other."""
    own = [_own(cell) for cell in cells]
    return "" in own and not any(one and one == other for one, other in pairwise(own))


def _note_labels(table: FoundTable) -> None:
    """Turn rows that have only a team's name into that team of the rows below."""
    teams = table.places("team")
    if not teams:
        return
    kept: list[Row] = []
    label = ""
    for number, cells in table.rows:
        filled = [at for at, cell in enumerate(cells) if _own(cell)]
        if filled == teams:
            label = cells[teams[0]]
            table.skip("label", number)
            continue
        if label and not cells[teams[0]]:
            cells[teams[0]] = label
        label = "" if cells[teams[0]] and cells[teams[0]] != label else label
        kept.append((number, cells))
    table.rows = kept

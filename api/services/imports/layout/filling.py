"""Repeat what is written once for several rows: names, days, and the setting of a trial."""

from bisect import bisect_right
from collections.abc import Sequence
from itertools import chain, pairwise

from api.services.imports.layout.rows import Row, own
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
    headed = _take_headings(table)
    naming = [at for name in NAMING for at in table.places(name)]
    setting = [at for name in SETTING for at in _single(table, name)]
    is_once = {at: _is_written_once([cells[at] for _, cells in table.rows]) for at in naming}
    closed = _closed(table, setting)
    filled: dict[str, list[int]] = {}
    above: list[str] = []
    for number, cells in table.rows:
        named = [at for at in naming if own(cells[at]) and at not in headed.get(number, ())]
        for at in (*naming, *setting):
            is_open = is_once[at] if at in is_once else bool(naming) and not named
            is_empty = cells[at] == MERGED or (is_open and not cells[at])
            if above and above[at] and is_empty and at not in closed.get(number, ()):
                cells[at] = above[at]
                filled.setdefault(table.titles[at], []).append(number)
        above = cells
    return filled


def _single(table: FoundTable, name: str) -> list[int]:
    """Return the position of a column, unless it has one for each reading."""
    places = table.places(name)
    return places if len(places) == 1 or name not in OF_READINGS else []


def _is_written_once(cells: Sequence[str]) -> bool:
    """Tell whether a column has empty cells, and no name in two rows that follow each other."""
    names = [own(cell) for cell in cells]
    return "" in names and not any(one and one == other for one, other in pairwise(names))


def _take_headings(table: FoundTable) -> dict[int, list[int]]:
    """Turn rows that have only a team's name into that team of the rows below.

    Return the column of the team for each row that got it from such a heading.
    """
    teams = table.places("team")
    kept: list[Row] = []
    headed: dict[int, list[int]] = {}
    heading = ""
    for number, cells in table.rows:
        if teams and [at for at, cell in enumerate(cells) if own(cell)] == teams:
            heading = cells[teams[0]]
            table.skip("label", number)
            continue
        kept.append((number, cells))
        if heading and not own(cells[teams[0]]):
            cells[teams[0]], headed[number] = heading, teams
        else:
            heading = ""
    table.rows = kept
    return headed


def _closed(table: FoundTable, setting: Sequence[int]) -> dict[int, list[int]]:
    """Return the columns that are not filled in the first row below a heading or a summary.

    The setting of one team says nothing of the next. `Max` may be the maximum of the rows above it,
    or a team of the rows below.
    """
    closed: dict[int, list[int]] = {}
    numbers = [number for number, _ in table.rows]
    summaries = ((row, [at]) for row, at in table.summaries.items())
    headings = ((row, setting) for row in table.skipped.get("label", ()))
    for row, places in chain(summaries, headings):
        below = bisect_right(numbers, row)
        if below < len(numbers):
            closed.setdefault(numbers[below], []).extend(places)
    return closed

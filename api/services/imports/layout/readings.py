"""Make a row of each reading: sheets keep the readings of a trial below or beside each other."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from api.services.imports.layout.explanations import named_column
from api.services.imports.layout.tables import FoundTable
from api.services.imports.layout.titles import OF_READINGS


@dataclass(frozen=True, slots=True)
class Reading:
    """One reading: the row of the table it is in, and the column of each of its cells.

    `titles` are the titles of columns that a table has once for each reading, by column.
    """

    table: FoundTable
    at: int
    places: dict[str, list[int]]
    titles: dict[str, str]

    @property
    def number(self) -> int:
        """Return the number of its row as the spreadsheet shows it."""
        return self.table.rows[self.at][0]

    def cell(self, column: str) -> str:
        """Return its text in a column; several texts are joined."""
        cells = self.table.rows[self.at][1]
        return "; ".join(cells[at] for at in self.places.get(column, ()) if cells[at])

    def key(self, column: str) -> str:
        """Return the key of its column, which has the unit of its title."""
        return self.table.meanings[self.places[column][0]].key


def readings_of(table: FoundTable) -> Iterator[Reading]:
    """Yield the readings of a table: of a row as many as columns that repeat have cells filled."""
    every = {title.column: table.places(title.column) for title in table.meanings if title.column}
    repeated = {column: places for column, places in every.items()
                if column in OF_READINGS and len(places) > 1}  # fmt: skip
    if not repeated:
        yield from (Reading(table, at, every, {}) for at in range(len(table.rows)))
        return
    readings = _of_a_row(table, repeated)
    for at, (_, cells) in enumerate(table.rows):
        filled = [each for each in readings if any(cells[place] for place in each.values())]
        for each in filled or readings[:1]:
            places = every | {column: [] for column in repeated}
            places |= {column: [place] for column, place in each.items()}
            titles = {column: table.titles[place] or named_column(place)
                      for column, place in each.items()}  # fmt: skip
            yield Reading(table, at, places, titles)


def _of_a_row(table: FoundTable, repeated: Mapping[str, list[int]]) -> list[dict[str, int]]:
    """Return the columns of each reading of a row, by their numbers or else by their order."""
    readings: dict[int, dict[str, int]] = {}
    for column, places in repeated.items():
        for order, place in enumerate(places, start=1):
            number = table.meanings[place].number or order
            readings.setdefault(number, {})[column] = place
    return [readings[number] for number in sorted(readings)]

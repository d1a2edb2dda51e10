"""Make a row of each reading: sheets keep the readings of a trial below or beside each other."""

from collections.abc import Iterator
from dataclasses import dataclass

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
    repeated = {
        column: sorted(places, key=lambda at: (table.meanings[at].number or 0, at))
        for column, places in every.items()
        if column in OF_READINGS and len(places) > 1
    }
    if not repeated:
        yield from (Reading(table, at, every, {}) for at in range(len(table.rows)))
        return
    most = max(map(len, repeated.values()))
    for at, (_, cells) in enumerate(table.rows):
        of_row = [
            {column: places[step] for column, places in repeated.items() if step < len(places)}
            for step in range(most)
        ]
        filled = [each for each in of_row if any(cells[place] for place in each.values())]
        for each in filled or of_row[:1]:
            places = every | {column: [] for column in repeated}
            places |= {column: [place] for column, place in each.items()}
            titles = {column: table.titles[place] for column, place in each.items()}
            yield Reading(table, at, places, titles)

"""Arrange the rows of a drawn sheet: ticks, hidden rows, and values that are typed only once."""

from tests.bench.sheets.words import (
    LEVEL,
    NO_VALUE,
    OF_NAME,
    TICKS,
    Cell,
    Row,
)


class Arranging:
    """The rows of a drawing once they are drawn."""

    def _arrange_rows(self) -> None:
        if self.has("interleaved trials") and not self.has("merged cells"):
            self.rows.sort(key=lambda row: row.run)
        self._tick_rows()
        if self.has("conditions typed once"):
            self._type_conditions_once()
        if self.has("name typed once"):
            self._type_name_once()
        for oddity in ("hidden rows", "filtered rows", "rows of no height"):
            if self.has(oddity):
                self._add_hidden_row()
        if self.has("blank rows"):
            for _ in range(self.rng.randint(1, 3)):
                blanks = {name: Cell(self.rng.choice(("", "", " "))) for name in self.columns}
                self.rows.insert(self.rng.randint(0, len(self.rows)), Row(blanks))

    def _tick_rows(self) -> None:
        for name in TICKS:
            ticks = [True] * len(self.rows)
            if name == self.odd_tick and self.has("empty ticks"):
                ticks = [self.rng.choice((True, True, None)) for _ in self.rows]
            elif name == self.odd_tick and self.has("ticks that say no"):
                ticks = self._denied()
            for row, word in zip(self.rows, ticks, strict=True):
                row.cells[name] = self._tick_cell(word)
            self._note_ticks(name, ticks)

    def _denied(self) -> list[bool | None]:
        """Return ticks that say no in all rows of one trial, or in a single row."""
        denied = self.rng.choice(self.rows)
        is_whole_trial = self.rng.random() < 0.6
        return [row is not denied and not (is_whole_trial and row.trial == denied.trial)
                for row in self.rows]  # fmt: skip

    def _tick_cell(self, word: bool | None) -> Cell:
        if word is None:
            return Cell("")
        text = self.habits.tick[0 if word else 1]
        if self.habits.tick == ("TRUE", "FALSE"):
            return Cell(text, word)
        return Cell(text, int(word)) if self.habits.tick == ("1", "0") else Cell(text)

    def _note_ticks(self, name: str, ticks: list[bool | None]) -> None:
        """Note what ticks mean: a cross left out says no; an empty cell among words, nothing."""
        leaves_out = self.habits.tick[1] == ""
        for ref in dict.fromkeys(row.trial for row in self.rows):
            words = [word for row, word in zip(self.rows, ticks, strict=True) if row.trial == ref]
            seen = [
                self.habits.tick[0 if word else 1] if word is not None else "" for word in words
            ]
            meant = {bool(word) if leaves_out else word for word in words} - {None}
            if meant:
                truth = meant.pop() if len(meant) == 1 else NO_VALUE
                self._note(ref, name, 0, truth, f"{name}: {seen}",
                           "tick" if not all(words) else "")  # fmt: skip

    def _type_conditions_once(self) -> None:
        typed_days: set[int] = set()
        for row in self.rows:
            for name in row.cells if row.day in typed_days else ():
                if LEVEL.get(name) == "session" and name in OF_NAME:
                    row.cells[name] = Cell("")
            typed_days.add(row.day)

    def _type_name_once(self) -> None:
        """Leave out a name below the first row of each trial, where a person reads on."""
        name = self.rng.choice(("session_started_at", "client_ref", "team", "build"))
        before = ""
        for row in self.rows:
            if row.trial == before:
                row.cells[name] = Cell("")
            before = row.trial

    def _add_hidden_row(self) -> None:
        place = self.rng.randrange(len(self.rows))
        row = self.rows[place]
        number = 777 if self.columns["voltage_v"].unit.sign == "mV" else 0.777
        cells = row.cells | {"voltage_v": Cell(str(number), number)}
        if self.rng.random() < 0.5:
            cells["client_ref"] = Cell("discarded")
        self.rows.insert(place, Row(cells, row.trial, row.run, row.day, is_hidden=True))

    # A file of separated values

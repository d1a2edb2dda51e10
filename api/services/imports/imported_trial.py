"""One trial of an import, from its rows to its outcome."""

from dataclasses import dataclass, field
from typing import Any

from api.errors import FieldError
from api.models.measurements.flags import FlagRead
from api.models.trials.trials import TrialCreate
from api.services.imports.cells import NotAValue
from api.services.imports.names import Place
from api.services.imports.table import ReadRow
from api.services.measurements import flags


@dataclass(slots=True)
class ImportedTrial:
    """A trial of an import: from a file it has rows, from a JSON batch only its number.

    `session` has the bench, season and start of its session, and `conditions` the conditions in its
    rows, under the names they were typed with. `values` are set once they are valid, and refer to
    the session and build once these are known.
    """

    client_ref: str | None
    rows: list[ReadRow] = field(default_factory=list)
    number: int = 0
    #: Rows without a name below a named trial that they may belong to.
    unnamed: list[ReadRow] = field(default_factory=list)

    place: Place | None = None
    session: dict[str, Any] | None = None
    conditions: dict[str, Any] = field(default_factory=dict)
    values: TrialCreate | None = None
    faults: list[FieldError] = field(default_factory=list)

    session_id: str = ""
    trial_id: str | None = None
    is_new: bool = False
    #: The flags of the trial and its session, and those of them that need an answer.
    flags: list[FlagRead] = field(default_factory=list)
    open_flags: list[FlagRead] = field(default_factory=list)

    @property
    def row_numbers(self) -> list[int]:
        """Return the numbers of its rows, as people count them."""
        return [row.number for row in self.rows] or [self.number]

    @property
    def outcome(self) -> str:
        """Return its outcome: `error`, `created` or `unchanged`."""
        return "error" if self.faults else "created" if self.is_new else "unchanged"

    @property
    def state(self) -> str | None:
        """Return the state of the stored trial; None if it was refused."""
        if self.faults:
            return None
        is_held = any(flag.severity == "hold" for flag in self.open_flags)
        return flags.HELD if is_held else flags.ACCEPTED

    def add_fault(self, row: ReadRow, title: str, reason: NotAValue, column: str) -> None:
        """Note the first fault of a cell."""
        if not any((fault.row, fault.column) == (row.number, title) for fault in self.faults):
            self.faults.append(reason.at(row.number, title, str(row.values.get(column, ""))))

    def row_of(self, column: str) -> ReadRow:
        """Return the first row with a value in a column, or else the first row."""
        filled = (row for row in self.rows if row.get(column) is not None)
        return next(filled, self.rows[0])

"""One thing that is wrong with what was sent, and its place."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: in a field of a request, or in a row and column of a file.

    `code` is the service's short name for it, `pointer` is the field (RFC 6901), `row` is counted
    as in a spreadsheet (the titles are row 1), and `value` is what was typed.

    >>> str(Fault("is not a number", "Was 1,19 meant?", row=3, column="voltage_v", value="1,l9"))
    "row 3, column voltage_v: '1,l9' is not a number. Was 1,19 meant?"
    >>> str(Fault("must be between -430 and 5000 m", pointer="/altitude_m"))
    'altitude_m must be between -430 and 5000 m.'
    """

    detail: str
    hint: str = ""
    code: str = ""
    pointer: str = ""
    row: int | None = None
    column: str = ""
    value: str = ""

    @classmethod
    def of(cls, error: Mapping[str, Any]) -> "Fault":
        """Return an error of an answer, such as one of `row["errors"]` of an import."""
        texts = ("detail", "hint", "code", "pointer", "column", "value")
        return cls(**{name: str(error.get(name, "")) for name in texts}, row=error.get("row"))

    @property
    def sentence(self) -> str:
        """Return what is wrong and what would be right, without the place."""
        value = f"'{self.value}' " if self.value and not self.pointer else ""
        end = "" if self.detail.endswith((".", "?", "!")) else "."
        return f"{value}{self.detail}{end} {self.hint}".rstrip()

    def __str__(self) -> str:
        if self.pointer:
            return f"{self.pointer.strip('/')} {self.sentence}"
        places = [f"row {self.row}"] if self.row is not None else []
        places += [f"column {self.column}"] if self.column else []
        return ": ".join(filter(None, [", ".join(places), self.sentence]))

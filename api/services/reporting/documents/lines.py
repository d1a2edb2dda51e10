"""Write lines of plain values as CSV or as a workbook."""

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from api.models.core.units import quantity
from api.services.core.moments import in_utc
from api.services.core.safe_cells import BYTE_ORDER_MARK, protect
from api.services.reporting.workbooks import write_workbook

Line = dict[str, object]
#: Units of columns that are no input, by the end of the name.
UNITS = {"_at": "UTC", "_n": "N", "_pct_per_week": "% per week"}


@dataclass(frozen=True, slots=True)
class Lines:
    """The columns of a report, and its lines by column."""

    columns: Sequence[str]
    lines: Sequence[Mapping[str, object]]

    def to_csv(self, *, excel: bool) -> str:
        """Return CSV, with a byte order mark first for spreadsheets."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\r\n")
        writer.writerow(self.columns)
        writer.writerows(
            [_as_text(line.get(column)) for column in self.columns] for line in self.lines
        )
        return (BYTE_ORDER_MARK if excel else "") + out.getvalue()

    def to_workbook(self, title: str) -> bytes:
        """Return a workbook with a sheet of the lines, and one with the units of its columns."""
        rows = ([line.get(column) for column in self.columns] for line in self.lines)
        about = [("name", "unit"), *((column, _unit(column)) for column in self.columns)]
        out = io.BytesIO()
        write_workbook(out, title, self.columns, rows, about)
        return out.getvalue()


def _as_text(value: object) -> object:
    if isinstance(value, datetime):
        return in_utc(value)
    return protect(value) if isinstance(value, str) else value


def _unit(column: str) -> str:
    """Return the unit of a column by its name, or an empty text.

    >>> _unit("fair_power_w"), _unit("trend_pct_per_week"), _unit("team")
    ('W', '% per week', '')
    """
    measured = quantity(column)
    if measured:
        return measured.symbol
    return next((unit for end, unit in UNITS.items() if column.endswith(end)), "")

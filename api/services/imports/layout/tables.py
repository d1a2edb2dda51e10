"""Find the tables of a sheet: their titles, their rows, and the rows around and between them."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from api.services.imports.layout.rows import Row, own
from api.services.imports.layout.title_rows import find_title_rows, headline, read_titles
from api.services.imports.layout.title_words import SUMMARIES
from api.services.imports.layout.titles import Title, plain, read_title
from api.services.imports.sheet import has_cut_number

COMMENT = ("#", "//")
#: Columns of which a cell that begins with the name of a summary says that its row is one.
COUNTING = ("trial_number", "run")


@dataclass(slots=True)
class FoundTable:
    """One table of a sheet.

    `number` is that of its row of titles, `titles` are those of one or two rows, and `meanings`
    what each means: both have an empty one for a column that has texts but no title. `rows` are its
    rows with their numbers; `headline` is the text above it. `skipped` are the numbers of rows that
    are no trials, by reason: `above`, `comment`, `summary` (an average or a total) and `titles`
    (the titles once more).
    """

    number: int
    titles: list[str]
    meanings: list[Title]
    rows: list[Row] = field(default_factory=list)
    headline: str = ""
    skipped: dict[str, list[int]] = field(default_factory=dict)
    #: Rows with too few cells, or with so many that a decimal comma may have cut a number.
    uncut: dict[int, list[str]] = field(default_factory=dict)
    #: The position of the cell that names a summary, by the number of its row.
    summaries: dict[int, int] = field(default_factory=dict)

    def skip(self, reason: str, number: int) -> None:
        """Note that a row is no trial."""
        self.skipped.setdefault(reason, []).append(number)

    def places(self, column: str) -> list[int]:
        """Return the positions of the columns with a meaning."""
        return [at for at, title in enumerate(self.meanings) if title.column == column]

    def texts(self, at: int) -> list[str]:
        """Return the texts of a column that are not empty."""
        return [text for _, cells in self.rows if (text := own(cells[at]))]

    @property
    def needs(self) -> int:
        """Return how many cells a row needs: up to the last title."""
        return max((at + 1 for at, title in enumerate(self.titles) if title), default=0)

    def widen(self) -> None:
        """Give each row a cell in every column, and each column with a text a title, if empty."""
        width = max([self.needs, *(_last_filled(cells) for _, cells in self.rows)])
        for part, empty in ((self.titles, ""), (self.meanings, Title())):
            part[:] = [*part, *[empty] * (width - len(part))][:width]
        self.rows = [(number, [*cells, *[""] * (width - len(cells))][:width])
                     for number, cells in self.rows]  # fmt: skip


def _last_filled(cells: Sequence[str]) -> int:
    return max((at + 1 for at, cell in enumerate(cells) if own(cell)), default=0)


def find_tables(rows: Sequence[Row], delimiter: str = "") -> list[FoundTable]:
    """Return the tables of a sheet, in their order; empty if no row looks like titles.

    A table that repeats the titles of another goes on with it, unless a text of its own, such as a
    team, is above it.
    """
    starts = find_title_rows(rows)
    headlines = [headline(rows, start) for start in starts]
    ends = [start - bool(text) for start, text in zip(starts, headlines, strict=True)]
    tables: list[FoundTable] = []
    for start, end, text in zip(starts, [*ends, len(rows)][1:], headlines, strict=True):
        table = _table(rows, start, end, delimiter)
        table.headline = text
        before = next((each for each in tables if each.titles == table.titles), None)
        if before is None or text:
            tables.append(table)
        else:
            _append(before, table)
    for number, cells in rows[: starts[0] if starts else 0]:
        if any(cells):
            tables[0].skip("above", number)
    for table in tables:
        table.widen()
    return tables


def _append(before: FoundTable, table: FoundTable) -> None:
    """Let a table go on with the rows of another that has the same titles."""
    before.skip("titles", table.number)
    before.rows += table.rows
    before.uncut |= table.uncut
    before.summaries |= table.summaries
    for reason, numbers in table.skipped.items():
        before.skipped.setdefault(reason, []).extend(numbers)


def _table(rows: Sequence[Row], start: int, end: int, delimiter: str) -> FoundTable:
    number, cells = rows[start]
    titles, used = read_titles(cells, rows[start + 1][1] if start + 1 < end else [])
    table = FoundTable(number, titles, [read_title(title) for title in titles])
    for row_number, row in rows[start + used : end]:
        reason = _no_trial(row_number, row, table)
        if reason:
            table.skip(reason, row_number)
        elif any(row):
            table.rows.append((row_number, row))
    _set_cut_rows_apart(table, delimiter, len(cells))
    return table


def _set_cut_rows_apart(table: FoundTable, delimiter: str, width: int) -> None:
    """Set rows apart that have too few cells, or a number that a decimal comma cut in two.

    Once a number is cut in one row, any other row in which one may be cut is no longer trusted: two
    cut numbers and two empty cells that were left out look like a row of the right length.
    """
    is_cut = delimiter == "," and any(
        len(row) > width and has_cut_number(row) for _, row in table.rows
    )
    kept = []
    for number, row in table.rows:
        is_short = len(row) < table.needs and not _is_label(row, table)
        if is_short or (is_cut and has_cut_number(row)):
            table.uncut[number] = row
        else:
            kept.append((number, row))
    table.rows = kept


def _no_trial(number: int, cells: Sequence[str], table: FoundTable) -> str:
    """Return why a row is no trial; empty if it may be one."""
    at = next((at for at, cell in enumerate(cells) if own(cell)), 0)
    first = cells[at] if cells else ""
    if first.startswith(COMMENT):
        return "comment"
    summary = _summary_at(cells, at, table)
    if summary is None:
        return ""
    table.summaries[number] = summary
    return "summary"


def _summary_at(cells: Sequence[str], first: int, table: FoundTable) -> int | None:
    """Return the position of the cell that says that its row is a summary of others.

    A row whose first cell may be a name is one only if it does not say with what it was measured.
    """
    meanings = dict(enumerate(table.meanings))
    for at, cell in enumerate(cells):
        column = meanings[at].column if at in meanings else ""
        if column in ("note", "client_ref") and plain(cell) in SUMMARIES:
            return at
        if (column in COUNTING or at == first) and _names_summary(cell):
            is_name = column not in COUNTING
            return None if is_name and _has_setting(cells, at, table) else at
    return None


def _names_summary(cell: str) -> bool:
    words = plain(cell)
    return any(words == each or words.startswith(f"{each} ") for each in SUMMARIES)


def _is_label(cells: Sequence[str], table: FoundTable) -> bool:
    """Tell whether a row has nothing but a team's name."""
    return [at for at, cell in enumerate(cells) if own(cell)] == table.places("team")


def _has_setting(cells: Sequence[str], first: int, table: FoundTable) -> bool:
    """Tell whether cells say when or with what they were measured, as beside a team named Max.

    `first` is the position of the name.
    """
    places = table.places("session_started_at") or [
        at for name in ("load_ohm", "pitch_deg", "build") for at in table.places(name)
    ]
    return any(first < at < len(cells) and cells[at] for at in places)

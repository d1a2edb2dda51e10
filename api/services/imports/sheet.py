"""Split the bytes of a file into columns of cells; refuse what would need a guess."""

import csv
import re
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from api.errors import FieldError, Invalid, TooLarge
from api.messages import say
from api.services.imports.encodings import read_text
from api.services.imports.headers import Header, read_header

#: The longest logged series must fit into one cell.
csv.field_size_limit(500_000)
WHOLE = re.compile(r"[+\-\u2212]?[0-9]+")
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file that was read: the cells of each known column.

    Rows are numbered as a spreadsheet shows them, the header being 1; `uncut` are rows with more
    or fewer cells than it.
    """

    encoding: str
    delimiter: str
    header: Header
    numbers: list[int]
    cells: dict[str, list[str]]
    uncut: dict[int, list[str]]
    faults: list[FieldError]
    #: Of a sheet that was laid out: the trial of each row, the titles of its readings if a row of
    #: the file has several, and what was guessed.
    groups: list[int] | None = None
    titles_at: list[dict[str, str]] | None = None
    understood: dict[str, Any] = field(default_factory=dict)

    def title(self, name: str, at: int) -> str:
        """Return the title of a column for the row at an index."""
        own = self.titles_at[at].get(name) if self.titles_at else None
        return own or self.header.title(name)


def delimiter_of(text: str) -> str:
    r"""Return the delimiter: the one that is most frequent in the titles.

    >>> delimiter_of("team;volts, amps;load\n")
    ';'
    """
    first_line = text.split("\n", 1)[0]
    return max(DELIMITERS, key=first_line.count)


def read_sheet(body: bytes, most_rows: int) -> Sheet:
    """Return the rows of a CSV or tab-separated file."""
    text, encoding = decode(body)
    text, named = sep_line(text)
    delimiter = named or delimiter_of(text)
    all_records = records(text, delimiter, most_rows)
    titles = next(all_records, None)
    if titles is None:
        raise _unreadable("empty", say("import_file.no_header"), say("import_file.template"))
    header = _header(titles, all_records)
    rows, uncut = _rows(all_records, header, len(titles) if delimiter == "," else None)
    if not rows and not uncut:
        raise _unreadable("empty", say("import_file.no_row"), None)
    needs = len(header.titles)
    faults = [wrong_length(number, len(cells), needs) for number, cells in uncut.items()]
    by_column = zip(header.keys, zip(*rows.values(), strict=True), strict=False)
    cells = {key: list(column) for key, column in by_column if key}
    return Sheet(encoding, delimiter, header, list(rows), cells, uncut, faults)


def _header(titles: list[str], rows: Iterator[list[str]]) -> Header:
    """Return the columns of the titles; a file that cannot be split is refused first."""
    try:
        return read_header(titles)
    except Invalid:
        deque(rows, maxlen=0)
        raise


def decode(body: bytes) -> tuple[str, str]:
    """Return the text and the encoding of a file, or refuse an unknown encoding."""
    found = read_text(body)
    if found is None:
        words, hint = say("import_file.not_utf8"), say("import_file.not_utf8_hint")
        raise _unreadable("encoding", words, hint)
    text, encoding = found
    if "\0" in text:
        raise _unreadable("nul", say("import_file.nul"), None)
    if not text.strip():
        raise _unreadable("empty", say("import_file.empty"), say("import_file.template"))
    return text.replace("\r\n", "\n").replace("\r", "\n"), encoding.removesuffix("-sig")


def _unreadable(code: str, words: str, hint: str | None, row: int = 1) -> Invalid:
    return Invalid(words, [FieldError(code, words, hint, row=row)])


def sep_line(text: str) -> tuple[str, str | None]:
    """Return the text without a leading `sep=;` line, and the delimiter it names."""
    first, _, rest = text.partition("\n")
    word, _, sign = first.strip().strip('"').partition("=")
    if word.lower() != "sep":
        return text, None
    sign = sign or "\t"
    if sign not in DELIMITERS:
        raise _unreadable("delimiter", say("import_file.delimiter", sign=sign[:5]), None)
    return rest, sign


def records(text: str, delimiter: str, most_rows: int) -> Iterator[list[str]]:
    """Yield the rows of a text, each cut into cells."""
    reader, number = csv.reader(_lines(text), delimiter=delimiter, strict=True), 0
    try:
        for number, record in enumerate(reader, start=1):
            if number > most_rows + 1:
                raise TooLarge(say("import_file.many_rows", most=most_rows))
            yield record
    except csv.Error as error:
        words, hint = say("import_row.uncut", error=error), say("import_row.uncut_hint")
        raise _unreadable("quoting", words, hint, row=number + 1) from error


def _lines(text: str) -> Iterator[str]:
    """Yield the lines of a text with their ends: `StringIO` would need four times the memory."""
    start = 0
    while start < len(text):
        end = text.find("\n", start) + 1 or len(text)
        yield text[start:end]
        start = end


class _Stripped(dict[str, str]):
    """Cells without surrounding spaces; equal cells share one object."""

    def __missing__(self, cell: str) -> str:
        bare = cell.strip()
        self[cell] = shared = self.setdefault(bare, bare)
        return shared


def _rows(
    all_records: Iterable[list[str]], header: Header, most: int | None
) -> tuple[dict[int, list[str]], dict[int, list[str]]]:
    """Return rows by number, and those with a wrong length; blanks at the end do not count.

    With commas between cells, a blank at the end of a row of more than `most` cells may hide that
    a decimal comma cut a number in two: such a row has a wrong length.
    """
    rows: dict[int, list[str]] = {}
    uncut: dict[int, list[str]] = {}
    stripped = _Stripped()
    for number, record in enumerate(all_records, start=2):
        cells = [stripped[cell] for cell in record]
        if not any(cells):
            continue
        may_be_cut = most is not None and len(cells) > most and has_cut_number(cells)
        while len(cells) > len(header.titles) and not cells[-1] and not may_be_cut:
            cells.pop()
        fits = len(cells) == len(header.titles)
        (rows if fits else uncut)[number] = cells
    return rows, uncut


def has_cut_number(cells: Sequence[str]) -> bool:
    """Tell whether two neighbouring integers may be one number that a comma cut.

    >>> has_cut_number(["Larch one", "1", "25"]), has_cut_number(["Larch one", "1.25", ""])
    (True, False)
    """
    return any(WHOLE.fullmatch(left) and right.isdecimal() for left, right in pairwise(cells))


def wrong_length(number: int, has: int, needs: int) -> FieldError:
    """Return the fault of a row with another number of cells than titles."""
    words, hint = say("import_row.cell_count", has=has, needs=needs), say("import_row.quote_it")
    return FieldError("cell_count", words, hint, row=number)

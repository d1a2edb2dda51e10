"""From the bytes of a file to rows of cells; nothing is guessed silently."""

import csv
import io
from dataclasses import dataclass

from api.errors import FieldError, Invalid, TooLarge
from api.services.imports.headers import Header, read_header

#: A logged series of the most samples stands in one cell.
csv.field_size_limit(500_000)
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
BYTE_ORDER_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number as the spreadsheet shows it (the header is 1), and its cells."""

    number: int
    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file as understood; `uncut` are rows with more or fewer cells than the header."""

    encoding: str
    delimiter: str
    header: Header
    rows: list[Row]
    uncut: dict[int, list[str]]
    faults: list[FieldError]


def delimiter_of(text: str) -> str:
    r"""Return the sign that parts the cells: the one that the titles have most of.

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
    found = records(text, delimiter, most_rows)
    if not found:
        raise _unreadable("empty", "the file has no header", "Start from the template.")
    header = read_header(found[0])
    rows, uncut = _rows(found, header)
    if not rows and not uncut:
        raise _unreadable("empty", "the file has titles and no row under them", None)
    needs = len(header.titles)
    faults = [_wrong_length(number, len(cells), needs) for number, cells in uncut.items()]
    return Sheet(encoding, delimiter, header, rows, uncut, faults)


def decode(body: bytes) -> tuple[str, str]:
    """Return the text of a file and how its characters were written, or refuse to guess."""
    encoding = next((name for mark, name in BYTE_ORDER_MARKS if body.startswith(mark)), "utf-8")
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as error:
        hint = "Save it as 'CSV UTF-8', or paste the cells instead."
        raise _unreadable("encoding", "the file's characters are not UTF-8", hint) from error
    if "\0" in text:
        raise _unreadable("nul", "the file holds NUL characters and is not a text file", None)
    if not text.strip():
        raise _unreadable("empty", "the file is empty", "Start from the template.")
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
        raise _unreadable("delimiter", f"sep={sign[:5]} is not a delimiter taken here", None)
    return rest, sign


def records(text: str, delimiter: str, most_rows: int) -> list[list[str]]:
    """Return the rows of a text, each cut into cells."""
    reader = csv.reader(io.StringIO(text), delimiter=delimiter, strict=True)
    found: list[list[str]] = []
    try:
        for record in reader:
            found.append(record)
            if len(found) > most_rows + 1:
                raise TooLarge(f"the file has more than {most_rows} rows; send it in parts")
    except csv.Error as error:
        words = f"the row cannot be cut into cells: {error}"
        hint = 'Look for a quotation mark (") that is opened and not closed.'
        raise _unreadable("quoting", words, hint, row=len(found) + 1) from error
    return found


def _rows(found: list[list[str]], header: Header) -> tuple[list[Row], dict[int, list[str]]]:
    """Return rows by column, and those that do not fit; blanks at the end do not count."""
    rows: list[Row] = []
    uncut: dict[int, list[str]] = {}
    for number, record in enumerate(found[1:], start=2):
        cells = [cell.strip() for cell in record]
        if not any(cells):
            continue
        while len(cells) > len(header.titles) and not cells[-1]:
            cells.pop()
        if len(cells) != len(header.titles):
            uncut[number] = cells
            continue
        named = dict(zip(header.keys, cells, strict=True))
        rows.append(Row(number, {key: cell for key, cell in named.items() if key}))
    return rows, uncut


def _wrong_length(number: int, has: int, needs: int) -> FieldError:
    return FieldError(
        "cell_count",
        f"the row has {has} cells and the header has {needs}",
        "A cell that holds the delimiter must stand in quotation marks.",
        row=number,
    )

"""List files that must not break the service, each with its content type and expected answer."""

import io
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import openpyxl

CSV = "text/csv"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"'
SHARED = (
    '<Override PartName="/xl/sharedStrings.xml" ContentType="application/vnd.openxmlformats-'
    'officedocument.spreadsheetml.sharedStrings+xml"/>'
)
HEADER = (
    "team,build,bench,session_started_at,client_ref,load_ohm,load_connected,voltage_v,"
    "wind_speed_m_s,adult_present"
)
REFUSED, TOO_LARGE, STORED = 422, 413, 201


@dataclass(frozen=True)
class Hostile:
    """One file, built on demand, and the status of its answer."""

    name: str
    kind: str
    make: Callable[[], bytes]
    status: int = REFUSED

    @property
    def label(self) -> str:
        """Name the file with its kind."""
        return f"{'xlsx' if self.kind == XLSX else 'csv'} {self.name}"


def row(
    ref: str = "h-1", volts: str = "1.2", when: str = "2026-03-19 10:00", load: str = "30.1"
) -> str:
    return f"Larch one,1,Larch hall,{when},{ref},{load},yes,{volts},4.1,yes"


def sheet(*rows: str, header: str = HEADER) -> bytes:
    return "\n".join([header, *rows, ""]).encode()


def workbook(fill: Callable[[openpyxl.Workbook], None]) -> bytes:
    """Return a workbook with the right titles that `fill` has done something to."""
    book = openpyxl.Workbook()
    book.active.append(HEADER.split(","))
    fill(book)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def with_part(name: str, content: bytes) -> bytes:
    """Return a workbook with one more part in it."""
    out = io.BytesIO(workbook(lambda book: None))
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as file:
        file.writestr(name, content)
    return out.getvalue()


def _far_cell(book: openpyxl.Workbook) -> None:
    book.active.cell(row=1_048_576, column=16_384, value="x")


def shared_text(length: int, rows: int) -> bytes:
    """Return a workbook whose every row is one shared text: a few kilobytes that unpack to much."""
    text = f"<sst {MAIN}><si><t>{'x' * length}</t></si></sst>"
    cells = "".join('<row><c t="s"><v>0</v></c></row>' for _ in range(rows))
    changed = {
        "xl/worksheets/sheet1.xml": f"<worksheet {MAIN}><sheetData>{cells}</sheetData></worksheet>",
    }
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(workbook(lambda book: None))) as plain,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file,
    ):
        types = plain.read("[Content_Types].xml").decode()
        changed["[Content_Types].xml"] = types.replace("</Types>", f"{SHARED}</Types>")
        for name in plain.namelist():
            file.writestr(name, changed.get(name, plain.read(name)))
        file.writestr("xl/sharedStrings.xml", text)
    return out.getvalue()


def _many_sheets(book: openpyxl.Workbook) -> None:
    for number in range(1000):
        book.create_sheet(f"s{number}")


def _formula(book: openpyxl.Workbook) -> None:
    cells = row(volts="=1+1").split(",")
    book.active.append(cells)


FILES = (
    Hostile("empty", CSV, lambda: b""),
    Hostile("blank lines", CSV, lambda: b"\n\n \n"),
    Hostile("header only", CSV, sheet),
    Hostile("cp1252", CSV, lambda: sheet(row("caf\u00e9")).decode().encode("cp1252"), STORED),
    Hostile(
        "mac roman", CSV, lambda: sheet(row("caf\u00e9")).decode().encode("mac_roman"), STORED
    ),
    Hostile("no encoding", CSV, lambda: sheet(row("h-9")).replace(b"h-9", b"\xa4\xa6\xa8\xac")),
    Hostile("utf-16 without mark", CSV, lambda: sheet(row()).decode().encode("utf-16-le"), STORED),
    Hostile("NULs", CSV, lambda: sheet(row("a\0b"))),
    Hostile("only NULs", CSV, lambda: b"\0" * 100_000),
    Hostile("unterminated quote", CSV, lambda: sheet('"' + row(), row("h-2"))),
    Hostile("text after a quote", CSV, lambda: sheet('"x"y' + row())),
    Hostile("a cell of 200 KB", CSV, lambda: sheet(row("x" * 200_000))),
    Hostile("a cell of 5 MB", CSV, lambda: sheet(row("x" * 5_000_000))),
    Hostile("10,000 columns", CSV, lambda: (",".join(f"c{n}" for n in range(10_000))).encode()),
    Hostile("10,000 commas", CSV, lambda: sheet(row("h-8") + "," * 10_000), STORED),
    Hostile("1,000,000 rows", CSV, lambda: sheet() + b"a\n" * 1_000_000, TOO_LARGE),
    Hostile("1,000,000 empty rows", CSV, lambda: sheet(row()) + b"\n" * 1_000_000, TOO_LARGE),
    Hostile("row too short", CSV, lambda: sheet("Larch one,1")),
    Hostile("row too long", CSV, lambda: sheet(row() + ",1,2")),
    Hostile("title twice", CSV, lambda: sheet(row() + ",1", header=HEADER + ",team")),
    Hostile("unknown title", CSV, lambda: sheet(row() + ",1", header=HEADER + ",colour"), STORED),
    Hostile("misspelt title", CSV, lambda: sheet(row() + ",1", header=HEADER + ",pich_deg")),
    Hostile("command", CSV, lambda: sheet(row().replace("Larch one", "=cmd|' /C calc'!A0"))),
    Hostile("mixed decimals", CSV, lambda: sheet(row(), row("h-2", '"1,2"'))),
    Hostile("NA", CSV, lambda: sheet(row(volts="NA"))),
    Hostile("nan", CSV, lambda: sheet(row(volts="nan"))),
    Hostile("inf", CSV, lambda: sheet(row(volts="inf"))),
    Hostile("1_000", CSV, lambda: sheet(row(load="1_000"))),
    Hostile("wide digits", CSV, lambda: sheet(row(load="\uff11\uff12"))),
    Hostile("a number of 5,000 digits", CSV, lambda: sheet(row(load="9" * 5000))),
    Hostile("day or month first", CSV, lambda: sheet(row(when="03/04/2026"))),
    Hostile("a spreadsheet's day number", CSV, lambda: sheet(row(when="46083"))),
    Hostile("year 9999", CSV, lambda: sheet(row(when="9999-12-31T23:59:59-14:00"))),
    Hostile("a formula's sign first", CSV, lambda: sheet(row("=1+1")), STORED),
    Hostile("sep=;", CSV, lambda: b"sep=;\n" + sheet(row("h-3")).replace(b",", b";"), STORED),
    Hostile("lone CR", CSV, lambda: sheet(row("h-4")).replace(b"\n", b"\r"), STORED),
    Hostile("utf-16, small end", CSV, lambda: sheet(row("h-5")).decode().encode("utf-16"), STORED),
    Hostile(
        "utf-16, big end", CSV,
        lambda: b"\xfe\xff" + sheet(row("h-6")).decode().encode("utf-16-be"), STORED,
    ),
    Hostile("trailing blanks", CSV, lambda: sheet(row("h-7") + ",,,", ",,,", "", ""), STORED),
    Hostile("broken", XLSX, lambda: b"PK\x03\x04 and no more"),
    Hostile("encrypted", XLSX, lambda: b"\xd0\xcf\x11\xe0" + b"\0" * 600),
    Hostile("macros", XLSX, lambda: with_part("xl/vbaProject.bin", b"x")),
    Hostile("external links", XLSX, lambda: with_part("xl/externalLinks/link1.xml", b"<a/>")),
    Hostile("302 MB packed", XLSX, lambda: with_part("xl/media/x.xml", b"0" * 302_000_000)),
    Hostile("far cell", XLSX, lambda: workbook(_far_cell)),
    Hostile("30 kB of text shared by 4,000 cells", XLSX, lambda: shared_text(30_000, 4_000)),
    Hostile("1 MB of text shared by 4,000 cells", XLSX, lambda: shared_text(1_000_000, 4_000)),
    Hostile("1,000 sheets", XLSX, lambda: workbook(_many_sheets)),
    Hostile("a formula without its value", XLSX, lambda: workbook(_formula)),
    Hostile("a way out in a part's name", XLSX, lambda: with_part("../../etc/passwd", b"x")),
)  # fmt: skip


def body_of(megabytes: int) -> Iterator[bytes]:
    """Yield a large body bit by bit, as a client does that does not say its length."""
    for _ in range(megabytes):
        yield b"a\n" * 500_000

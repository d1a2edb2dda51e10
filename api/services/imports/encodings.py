"""Find the encoding of a text file: as its first bytes say, as UTF-8, or by its letters."""

import re
from collections.abc import Iterator

from api.services.imports.layout.titles import MEANS, NOT_READ, plain
from api.services.imports.yes_and_no import NO, YES

#: Letters and signs of the languages in which schools keep sheets, beyond ASCII.
USUAL = frozenset(
    "äöüßÄÖÜéèêëàâçîïôûùœæÉÈÊËÀÂÇÎÏÔÛÙŒÆáíóúñÁÍÓÚÑãõÃÕìòÌÒåøÅØ°ΩΩµμ²³±–—…’‘“”€×·\u00a0\u202f\u2009"
)
BYTE_ORDER_MARKS = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)
#: One byte for each letter, as Excel writes on Windows and wrote on older Macs, whose lines end
#: with a carriage return alone.
SINGLE_BYTE = ("cp1252", "mac_roman")
LOOKED_AT = 4_000  # bytes, in search of the zeros of UTF-16; characters, of known words
CELL_ENDS = re.compile(r"[,;\t|\r\n\"()\[\]]+")
KNOWN = {*MEANS, *NOT_READ, *map(plain, (*YES, *NO))}


def read_text(body: bytes) -> tuple[str, str] | None:
    r"""Return the text of a file and its encoding; None if no encoding fits.

    >>> read_text("Spannung °C".encode("cp1252")), read_text("Größe".encode("mac_roman"))
    (('Spannung °C', 'cp1252'), ('Größe', 'mac_roman'))
    >>> read_text("sí\r".encode("mac_roman"))
    ('sí\r', 'mac_roman')
    >>> read_text(b"\x00\x01\x02\xff") is None
    True
    """
    for encoding in (*_stated(body), "utf-8"):
        text = _decoded(body, encoding)
        if text is not None:
            return text, encoding
    has_mac_lines = b"\r" in body and b"\n" not in body
    names = sorted(SINGLE_BYTE, key=lambda name: (name == "mac_roman") != has_mac_lines)
    texts = [(text, name) for name in names if (text := _decoded(body, name)) is not None]
    best = max(texts, key=lambda found: (known_cells(found[0]), likeness(found[0])), default=None)
    return best if best and likeness(best[0]) > 0 else None


def _stated(body: bytes) -> Iterator[str]:
    """Yield the encoding of a byte order mark, or UTF-16 by where its zeros are."""
    yield from (name for mark, name in BYTE_ORDER_MARKS if body.startswith(mark))
    start = body[:LOOKED_AT]
    for offset, name in ((1, "utf-16-le"), (0, "utf-16-be")):
        half = start[offset::2]
        if len(half) > 1 and half.count(0) > 0.6 * len(half):
            yield name


def _decoded(body: bytes, encoding: str) -> str | None:
    try:
        return body.decode(encoding)
    except UnicodeDecodeError:
        return None


def known_cells(text: str) -> int:
    """Return how many cells with letters beyond ASCII are titles or answers that we know.

    A single letter does not count, since it is left of many a word that was decoded wrongly.

    >>> known_cells("Team;Ángulo (°);sí"), known_cells("Team;çngulo (¡);s’")
    (2, 0)
    """
    cells = {cell for cell in CELL_ENDS.split(text[:LOOKED_AT]) if not cell.isascii()}
    return sum(len(word) > 1 and word in KNOWN for word in map(plain, cells))


def likeness(text: str) -> int:
    """Return how many letters beyond ASCII are usual ones, less twice the unusual ones."""
    beyond = [letter for letter in text if not letter.isascii()]
    usual = sum(letter in USUAL for letter in beyond)
    controls = sum(ord(letter) < 32 and letter not in "\t\r\n" for letter in text)
    return usual - 2 * (len(beyond) - usual) - 4 * controls

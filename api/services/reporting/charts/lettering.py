"""Estimate how wide a text is drawn, so that labels neither overlap nor leave the picture.

Widths are those of a wide common typeface (DejaVu Sans, measured on 2026-11-30); most others
are narrower, so that an estimate leaves room.
"""

from functools import lru_cache

#: Characters by their width in hundredths of the font size; all others are 0.7 wide.
WIDTHS = {
    31: "'IJijlÍìíîï",
    36: " ,./:;\\f|·",
    41: "!()-[]t¹²³",
    45: "r",
    52: '"*_`°',
    58: "?csz–",
    63: "FLPkvxyÿ",
    66: "0123456789$ESTYabdeghnopquàáâäåèéêëñòóôöøùúûüß",
    72: "ABCKRVXZÄ",
    77: "HNUÜ",
    81: "&DGOQÖ",
    86: "#+<=>w~±×",
    91: "M",
    96: "%",
    101: "@Wm—…",
}
WIDTH_OF = {letter: width / 100 for width, letters in WIDTHS.items() for letter in letters}
OTHER, WIDEST = 0.72, 1.05
LAST_NARROW = 0x2FF  # beyond the Latin letters, characters may be as wide as they are high


@lru_cache(maxsize=4096)
def width_of(text: str, size: float) -> float:
    """Return the width of a text in a font of this size, in the same unit.

    >>> width_of("Indigo", 14.0) > width_of("Ii", 14.0)
    True
    """
    return size * sum(map(_width, text))


def _width(letter: str) -> float:
    return WIDTH_OF.get(letter, WIDEST if ord(letter) > LAST_NARROW else OTHER)


def shortened(text: str, size: float, most: float) -> str:
    """Return a text that is at most so wide, with an ellipsis if letters had to be left out.

    >>> shortened("Brackhollow Junior", 14.0, 90.0)
    'Brackholl…'
    """
    if width_of(text, size) <= most:
        return text
    while text and width_of(f"{text}…", size) > most:
        text = text[:-1]
    return f"{text.rstrip()}…"

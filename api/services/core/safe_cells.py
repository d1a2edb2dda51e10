"""Mark text that a spreadsheet would read as a formula, and remove the mark again."""

import re

#: A spreadsheet reads a cell that begins with one of these signs as a formula
#: (OWASP ASVS 5.0, 1.2.10).
FORMULA_SIGNS = "=+-@"
#: Other forms of these signs, wide, small, raised or lowered: spreadsheets set to Japanese or
#: Chinese take some of them for the plain ones (OWASP, "CSV Injection").
FORMS_OF_SIGNS = "\u207a\u207c\u208a\u208c\ufb29\ufe62\ufe63\ufe66\ufe6b\uff0b\uff0d\uff1d\uff20"
FORMULA_STARTS = (*FORMULA_SIGNS, *FORMS_OF_SIGNS, "\t", "\0")
MARK = "'"
_SIGNS = "".join(re.escape(sign) for sign in FORMULA_STARTS if sign != "\t")
#: A formula sign after a character that may split a cell, with any marks between them.
CUT = re.compile(rf"([;\t\r\n])('*[{_SIGNS}])")
MARKED_CUT = re.compile(rf"([;\t\r\n])'('*[{_SIGNS}])")
#: Begins a file for people: without it spreadsheets take UTF-8 for the country's old code.
BYTE_ORDER_MARK = "\ufeff"


def protect(text: str) -> str:
    """Return text that no spreadsheet takes for a formula.

    A spreadsheet that splits at another separator than the file's may begin a cell in the middle.

    >>> protect("=1+1"), protect("Larch 1"), protect("a;=1")
    ("'=1+1", 'Larch 1', "a;'=1")
    """
    inside = CUT.sub(rf"\1{MARK}\2", text)
    return f"{MARK}{inside}" if _would_start(inside) else inside


def unprotect(cell: str) -> str:
    """Return the text of a protected cell; other text is returned unchanged.

    >>> unprotect("'=1+1"), unprotect("'tis"), unprotect(protect("'=1")), unprotect("a;'=1")
    ('=1+1', "'tis", "'=1", 'a;=1')
    """
    unmarked = cell[1:] if cell.startswith(MARK) and _would_start(cell) else cell
    return MARKED_CUT.sub(r"\1\2", unmarked)


def _would_start(text: str) -> bool:
    """Tell whether text begins with a formula sign, after any marks."""
    return text.lstrip(MARK).startswith(FORMULA_STARTS)

"""Text in files for spreadsheets: what would be read as a formula is marked, and unmarked again."""

import re

#: A cell that begins so would be read as a formula by a spreadsheet (OWASP ASVS 5.0, 1.2.10).
FORMULA_SIGNS = "=+-@"
#: Other forms of these signs, wide, small, raised or lowered: spreadsheets set to Japanese or
#: Chinese take some of them for the plain ones (OWASP, "CSV Injection").
FORMS_OF_SIGNS = "\u207a\u207c\u208a\u208c\ufb29\ufe62\ufe63\ufe66\ufe6b\uff0b\uff0d\uff1d\uff20"
FORMULA_STARTS = (*FORMULA_SIGNS, *FORMS_OF_SIGNS, "\t", "\0")
MARK = "'"
_SIGNS = "".join(re.escape(sign) for sign in FORMULA_STARTS if sign != "\t")
#: A formula's sign after what may cut a cell in two, marks between them not counted.
CUT = re.compile(rf"([;\t\r\n])('*[{_SIGNS}])")
MARKED_CUT = re.compile(rf"([;\t\r\n])'('*[{_SIGNS}])")
#: Begins a file for people: without it spreadsheets take UTF-8 for the country's old code.
BYTE_ORDER_MARK = "\ufeff"


def protect(text: str) -> str:
    """Return text that no spreadsheet takes for a formula.

    Where a spreadsheet cuts at another sign than the file's, a cell may begin in the middle.

    >>> protect("=1+1"), protect("Larch 1"), protect("a;=1")
    ("'=1+1", 'Larch 1', "a;'=1")
    """
    inside = CUT.sub(rf"\1{MARK}\2", text)
    return f"{MARK}{inside}" if _would_start(inside) else inside


def unprotect(cell: str) -> str:
    """Return the text that a protected cell holds; any other is returned as it is.

    >>> unprotect("'=1+1"), unprotect("'tis"), unprotect(protect("'=1")), unprotect("a;'=1")
    ('=1+1', "'tis", "'=1", 'a;=1')
    """
    whole = cell[1:] if cell.startswith(MARK) and _would_start(cell) else cell
    return MARKED_CUT.sub(r"\1\2", whole)


def _would_start(text: str) -> bool:
    """Tell whether a formula's sign comes first, marks before it not counted."""
    return text.lstrip(MARK).startswith(FORMULA_STARTS)

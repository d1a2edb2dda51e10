"""Text in files for spreadsheets: what would be read as a formula is marked, and unmarked again."""

#: A cell that begins so would be read as a formula by a spreadsheet (OWASP ASVS 5.0, 1.2.10);
#: the wide forms count in spreadsheets set to Japanese or Chinese (OWASP, "CSV Injection").
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\0", "\uff1d", "\uff0b", "\uff0d", "\uff20")
MARK = "'"
#: Begins a file for people: without it spreadsheets take UTF-8 for the country's old code.
BYTE_ORDER_MARK = "\ufeff"


def protect(text: str) -> str:
    """Return text that no spreadsheet takes for a formula.

    >>> protect("=1+1"), protect("Larch 1")
    ("'=1+1", 'Larch 1')
    """
    return f"{MARK}{text}" if _would_start(text) else text


def unprotect(cell: str) -> str:
    """Return the text that a protected cell holds; any other is returned as it is.

    >>> unprotect("'=1+1"), unprotect("'tis"), unprotect(protect("'=1"))
    ('=1+1', "'tis", "'=1")
    """
    return cell[1:] if cell.startswith(MARK) and _would_start(cell) else cell


def _would_start(text: str) -> bool:
    """Tell whether a formula's sign comes first, marks before it not counted."""
    return text.lstrip(MARK).startswith(FORMULA_STARTS)

"""Titles that a person has to say the meaning of, as what is below them may matter."""

import re
from collections.abc import Iterator, Sequence
from difflib import get_close_matches

from api.errors import FieldError
from api.messages import say
from api.services.imports.headers import SPELLINGS
from api.services.imports.layout.explanations import named_column
from api.services.imports.layout.tables import FoundTable
from api.services.imports.layout.titles import plain

NUMERIC = re.compile(r"['+\-\u2212]?[.,]?\d")
#: How alike a title and a column's name are if one is a slip of the other. Common practice.
ALIKE = 0.8
#: The codes of these faults.
UNCLEAR = ("unknown_column", "column_twice")


def questions(table: FoundTable) -> Iterator[FieldError]:
    """Yield a fault for each title that is not read although it may be one of a known column.

    Its unit is unknown, another title means the same, it looks like a misspelt column that the
    table does not have, or there is none above a column of numbers. Any other title is a remark of
    its author.
    """
    known = {title.column for title in table.meanings}
    for at, (title, meaning) in enumerate(zip(table.titles, table.meanings, strict=True)):
        if not title:
            if not meaning.why and _has_measurements(table.texts(at)):
                words, hint = say("import_not_read.untitled"), say("import_hint.untitled")
                yield _fault(table, named_column(at), "unknown_column", words, hint)
        elif meaning.why == "unit":
            hint = say("import_hint.write_unit")
            yield _fault(table, title, "unknown_column", say("import_not_read.unit"), hint)
        elif meaning.why == "twice":
            hint = say("import_header.twice_hint")
            yield _fault(table, title, "column_twice", say("import_not_read.twice"), hint)
        elif meaning.why == "unknown":
            near = get_close_matches(plain(title).replace(" ", "_"), list(SPELLINGS), 1, ALIKE)
            if near and SPELLINGS[near[0]][0] not in known:
                hint = say("import_hint.did_you_mean", near=near[0])
                yield _fault(table, title, "unknown_column", say("import_header.unknown"), hint)


def _has_measurements(texts: Sequence[str]) -> bool:
    """Tell whether a column has numbers that do more than count its rows."""
    numbers = [text for text in texts if NUMERIC.match(text)]
    counts = [str(at) for at in range(1, len(texts) + 1)]
    return bool(numbers) and [text.rstrip(".") for text in texts] != counts


def _fault(table: FoundTable, title: str, code: str, words: str, hint: str) -> FieldError:
    return FieldError(code, words, hint, row=table.number, column=title)

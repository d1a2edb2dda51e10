"""Say what was guessed about a sheet, what is not read, and what only a person can tell."""

import re
from collections.abc import Mapping, Sequence
from hashlib import sha256
from typing import Any

from api.messages import say
from api.models.core.units import quantity
from api.services.imports.layout.choices import Choices
from api.services.imports.layout.moments import Starts
from api.services.imports.layout.tables import FoundTable
from api.services.imports.layout.titles import plain

ROWS_NAMED, EXAMPLES = 12, 3
OWN_UNIT = re.compile(r"\d\s*[^\W\d_]|[°%Ω]")


def named_column(at: int) -> str:
    """Return the name of a column by its letter, as spreadsheets name it."""
    return say("import_layout.column", letter=letters(at))


def letters(at: int) -> str:
    """Return the letters of a column.

    >>> letters(0), letters(25), letters(27)
    ('A', 'Z', 'AB')
    """
    text = ""
    at += 1
    while at:
        at, rest = divmod(at - 1, 26)
        text = chr(65 + rest) + text
    return text


def understood(
    table: FoundTable,
    tables: Sequence[FoundTable],
    filled: Mapping[str, Sequence[int]],
    starts: Starts | None,
    *,
    asked: Sequence[str],
    groups: int,
    choices: Choices,
) -> dict[str, Any]:
    """Return the facts about a sheet that was laid out, each only if there is something to say."""
    facts: dict[str, Any] = {
        "guesses": _guesses(table, filled, starts, groups),
        "not_read": _not_read(table),
        "asks_same": list(asked),
        "choices": choices.as_json(),
        "titles_digest": _digest(table.titles),
        "tables": [_named(each) for each in tables] if len(tables) > 1 else [],
    }
    if starts and starts.asked:
        at, text, either = starts.asked
        facts["asks_day_order"] = {"row": table.rows[at][0] if at < len(table.rows) else None,
                                   "value": text, "readings": dict(either)}  # fmt: skip
    return {name: value for name, value in facts.items() if value}


def _digest(titles: Sequence[str]) -> str:
    """Return a digest by which the next sheet with the same titles is recognised."""
    return sha256("\n".join(map(plain, titles)).encode()).hexdigest()[:32]


def _named(table: FoundTable) -> dict[str, Any]:
    """Return a table with the row of its titles, what is above it, and its number of rows."""
    return {"row": table.number, "headline": table.headline, "rows": len(table.rows),
            "titles": [title for title in table.titles if title]}  # fmt: skip


def _guesses(
    table: FoundTable, filled: Mapping[str, Sequence[int]], starts: Starts | None, groups: int
) -> list[str]:
    """Return a sentence for each guess, with its reason and its rows."""
    lines = [
        say(f"import_guess.skipped_{reason}", count=len(numbers), rows=_rows(numbers))
        for reason, numbers in table.skipped.items()
    ]
    lines += [
        say("import_guess.filled", count=len(numbers), title=title, rows=_rows(numbers))
        for title, numbers in filled.items()
    ]
    lines += [
        say("import_guess.no_unit", count=len(titles), titles=", ".join(titles),
            column=say(f"import_column.{column}"))
        for column, titles in _without_unit(table).items()
    ]  # fmt: skip
    if groups:
        lines.append(say("import_guess.grouped", count=groups))
    if starts:
        lines += _about_starts(table, starts)
    return lines


def _without_unit(table: FoundTable) -> dict[str, list[str]]:
    """Return the titles of measured columns that say no unit, nor do their cells, by column."""
    bare: dict[str, list[str]] = {}
    for at, (title, meaning) in enumerate(zip(table.titles, table.meanings, strict=True)):
        is_measured = quantity(meaning.column) is not None or meaning.column == "pitch_deg"
        has_unit = meaning.has_unit or any(map(OWN_UNIT.search, table.texts(at)))
        if meaning.column and is_measured and not has_unit:
            bare.setdefault(meaning.column, []).append(title)
    return bare


def _about_starts(table: FoundTable, starts: Starts) -> list[str]:
    lines = []
    if starts.order and any(starts.texts):
        lines.append(say(f"import_guess.{starts.order}"))
    if starts.merged:
        lines.append(say("import_guess.one_session", count=len(starts.merged)))
    return lines


def _rows(numbers: Sequence[int]) -> str:
    listed = ", ".join(map(str, sorted(numbers)[:ROWS_NAMED]))
    return f"{listed} …" if len(numbers) > ROWS_NAMED else listed


def _not_read(table: FoundTable) -> list[dict[str, Any]]:
    """Return the columns that are not read, with the reason and the first of their texts."""
    columns = []
    for at, meaning in enumerate(table.meanings):
        texts = table.texts(at)
        if meaning.column or not texts:
            continue
        why = meaning.why or "unknown" if table.titles[at] else meaning.why or "untitled"
        columns.append({
            "title": table.titles[at] or named_column(at),
            "why": why,
            "sentence": say(f"import_not_read.{why}"),
            "examples": [] if why == "person" else list(dict.fromkeys(texts))[:EXAMPLES],
        })  # fmt: skip
    return columns

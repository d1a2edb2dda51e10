"""Read workbooks in a process of their own, so that none can stop the service."""

import json
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from api.errors import FieldError, Invalid
from api.messages import say
from api.services.imports.workbook_child import WRITTEN_BYTES

CHILD = Path(__file__).with_name("workbook_child.py")
SECONDS = 20
MAGIC = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
TOO_MUCH = "too_much"


def is_workbook(body: bytes) -> bool:
    """Tell whether a file begins like a workbook, whatever it is called."""
    return body.startswith(MAGIC)


def to_sheet(
    body: bytes, most_rows: int, named: str = "", is_likely: Callable[[str], bool] | None = None
) -> tuple[bytes, dict[str, Any]]:
    """Return one visible sheet of a workbook as comma-separated text, with facts about it.

    It is the one that is `named`, else the first that looks like one of trials, else the first. The
    facts are its name as `sheet`, and the parts that are not read: `other_sheets`,
    `hidden_sheets`, `hidden_rows` and `hidden_columns`, each a list.
    """
    first_line, _, texts = _read(body, most_rows).partition(b"\n")
    try:
        facts: dict[str, Any] = json.loads(first_line)
    except ValueError as error:  # stopped by its limits before it wrote anything
        raise _refused(TOO_MUCH) from error
    if "refused" in facts:
        raise _refused(facts["refused"], **facts["values"])
    about, text = _chosen(_cut(facts["sheets"], texts.decode()), named, is_likely)
    about["hidden_columns"] = [_title(each) for each in about["hidden_columns"]]
    return text.encode(), about


def _cut(sheets: list[dict[str, Any]], texts: str) -> list[tuple[dict[str, Any], str]]:
    """Return each sheet with its text."""
    found, start = [], 0
    for about in sheets:
        end = start + about.pop("characters")
        found.append((about, texts[start:end]))
        start = end
    return found


def _chosen(
    sheets: list[tuple[dict[str, Any], str]], named: str, is_likely: Callable[[str], bool] | None
) -> tuple[dict[str, Any], str]:
    if named:
        for about, text in sheets:
            if about["sheet"].casefold().strip() == named.casefold().strip():
                return about, text
        listed = ", ".join(about["sheet"] for about, _ in sheets)
        raise _refused("no_sheet", name=named[:60], listed=listed)
    if is_likely is not None and len(sheets) > 1:
        return next((each for each in sheets if is_likely(each[1])), sheets[0])
    return sheets[0]


def _title(column: str | int) -> str:
    """Return the title of a column, or its number if it has no title."""
    return say("import_workbook.column", number=column) if isinstance(column, int) else column


def _read(body: bytes, most_rows: int) -> bytes:
    """Return the output of the child process for a workbook.

    The child writes to a file of limited size; a pipe would be read into memory to its end.
    """
    command = [sys.executable, "-I", str(CHILD), str(most_rows)]
    with tempfile.TemporaryFile() as out:
        try:
            done = subprocess.run(
                command, input=body, stdout=out, stderr=subprocess.DEVNULL, timeout=SECONDS,
                check=False,
            )  # fmt: skip
        except subprocess.TimeoutExpired as error:
            raise _refused(TOO_MUCH) from error
        if done.returncode not in (0, 3) or out.seek(0, 2) > WRITTEN_BYTES:
            raise _refused(TOO_MUCH)
        out.seek(0)
        return out.read()


def _refused(code: str, **values: int | str) -> Invalid:
    words = say(f"import_workbook.{code}", **values)
    return Invalid(words, [FieldError("workbook", words)])

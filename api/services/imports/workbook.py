"""Workbooks are read in a process of their own, so that none can take the service down."""

import csv
import io
import json
import subprocess
import sys
from pathlib import Path
from typing import Any

from api.errors import FieldError, Invalid

CHILD = Path(__file__).with_name("workbook_child.py")
SECONDS = 20
MAGIC = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")


def is_workbook(body: bytes) -> bool:
    """Tell whether a file begins like a workbook, whatever it is called."""
    return body.startswith(MAGIC)


def to_sheet(body: bytes, most_rows: int) -> tuple[bytes, str]:
    """Return a workbook's first sheet as comma-separated text, and the sheet's name."""
    found = _read(body, most_rows)
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows(found["rows"])
    return out.getvalue().encode(), str(found["sheet"])


def _read(body: bytes, most_rows: int) -> dict[str, Any]:
    """Return what the child process says of a workbook; refuse what it cannot read."""
    command = [sys.executable, "-I", str(CHILD), str(most_rows)]
    try:
        done = subprocess.run(
            command, input=body, capture_output=True, timeout=SECONDS, check=False
        )
        found: dict[str, Any] = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, json.JSONDecodeError) as error:
        # Stopped by its limits, or by the clock.
        raise _refused("the workbook takes too long or too much: save the sheet as CSV") from error
    if "refused" in found:
        raise _refused(found["refused"])
    return found


def _refused(words: str) -> Invalid:
    return Invalid(words, [FieldError("workbook", words)])

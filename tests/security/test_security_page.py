"""The page that names a test for each risk names tests that are there."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = Path(__file__).with_name("README.md").read_text()


def test_every_named_test_is_there():
    named = re.findall(r"`(tests/[a-z_/]+\.py)(?:::(test_\w+))?`", PAGE)
    assert len(named) > 35
    gone = [
        f"{file}::{name}"
        for file, name in named
        if not (ROOT / file).exists() or (name and f"def {name}(" not in (ROOT / file).read_text())
    ]
    assert gone == []


def test_every_risk_of_the_ten_has_a_row_with_a_test():
    rows = re.findall(r"^\| API(\d+) .*$", PAGE, re.M)
    assert [int(number) for number in rows] == list(range(1, 11))
    for line in PAGE.splitlines():
        if re.match(r"\| (API)?\d", line):
            assert "`tests/" in line, line

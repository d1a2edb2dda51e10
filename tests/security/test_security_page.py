"""The security page names existing tests for each risk."""

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
        if re.match(r"\| API\d", line):
            assert "`tests/" in line, line


#: ASVS 5.0.0: level 1 of all chapters, level 2 of V2 to V8, V14 and V16; by section, the last row.
WHOLE = {"2.1": 3, "2.2": 3, "4.3": 2, "4.4": 4, "5.1": 1, "6.1": 3, "6.2": 12, "6.3": 4, "6.4": 4,
         "6.5": 5, "6.6": 3, "6.8": 4, "7.1": 3, "7.2": 4, "7.3": 2, "7.4": 5, "7.5": 2, "7.6": 2,
         "8.1": 2, "8.2": 3, "14.1": 2, "14.2": 4, "14.3": 3, "16.1": 1, "16.2": 5, "16.3": 4,
         "16.4": 3, "16.5": 3, "9.1": 3, "9.2": 1, "10.4": 5, "3.2": 2, "3.3": 4, "3.4": 6,
         "3.5": 5, "3.7": 2, "4.1": 3, "5.2": 3, "5.3": 2, "5.4": 3, "1.2": 5,
         "1.3": 2}  # fmt: skip
SINGLE = ("1.5.1", "2.3.1", "2.3.2", "2.3.3", "2.3.4", "2.4.1", "4.2.1", "8.3.1", "8.4.1", "11.3.1",
          "11.3.2", "11.4.1", "12.1.1", "12.2.1", "12.2.2", "13.4.1", "15.1.1", "15.2.1",
          "15.3.1")  # fmt: skip


def rows_of_the_standard():
    """Yield every row that the page names, ranges spread out."""
    for cell in re.findall(r"^\| (V[^|]+)\|", PAGE, re.M):
        for section, first, last in re.findall(r"V(\d+\.\d+)\.(\d+)(?:–V\d+\.\d+\.(\d+))?", cell):
            for number in range(int(first), int(last or first) + 1):
                yield f"{section}.{number}"


def test_every_row_of_the_standard_is_answered():
    wanted = {f"{section}.{number}" for section, last in WHOLE.items()
              for number in range(1, last + 1)} | set(SINGLE)  # fmt: skip
    assert wanted - set(rows_of_the_standard()) == set()


def test_a_row_names_a_test_or_says_why_there_is_none():
    for line in PAGE.splitlines():
        if re.match(r"\| V\d", line) and "`tests/" not in line:
            assert re.search(r"not applicable: |relaxed, and why: |documented: |by hand", line), (
                line
            )


def sources(*folders):
    return [path for folder in folders for path in (ROOT / folder).rglob("*.py")]


def test_no_statement_is_put_together_from_text():
    """No formatted text contains words of SQL, except names of our own tables."""
    allowed = {"backups.py", "migrate.py"}
    held = re.compile(r"f\"[^\"]*\b(SELECT|INSERT|UPDATE|DELETE)\b[^\"]*\{")
    paths = [str(path) for path in sources("api")
             if path.name not in allowed and "migrations" not in path.parts
             and held.search(path.read_text())]  # fmt: skip
    assert paths == []


def test_no_shell_and_no_weak_digest():
    weak = re.compile(r"shell=True|os\.system|\beval\(|\bexec\(|pickle|md5|sha1\b|yaml\.load")
    assert [str(path) for path in sources("api", "analysis", "scripts")
            if weak.search(path.read_text())] == []  # fmt: skip


def test_the_pages_script_writes_text_alone():
    for script in (ROOT / "api" / "web").rglob("*.js"):
        text = script.read_text()
        assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval\(", text)


def test_nothing_is_changed_by_get():
    """A page or an operation that reads opens no unit of work of its own."""
    for path in [*(ROOT / "api" / "routes").glob("*.py"), *(ROOT / "api" / "web").rglob("*.py")]:
        for block in re.split(r"\n(?=@router\.)", path.read_text()):
            if block.startswith("@router.get"):
                own = block.split("\n\n\n")[0]
                assert "unit_of_work" not in own, (path.name, own[:80])

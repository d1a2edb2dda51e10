"""Each module of `analysis` has one file of tests, and no file of tests imports another one."""

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
ROOT = TESTS.parent
MODULES = sorted(
    path.relative_to(ROOT) for path in (ROOT / "analysis").rglob("*.py") if path.stem != "__init__"
)


def modules_imported(text, package):
    """Return the modules that a file of a package imports, by their full names."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from (each.name for each in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else ()
            module = ".".join([*above, *filter(None, [node.module])])
            yield module
            names = (f"{module}.{each.name}" for each in node.names)
            yield from (name for name in names if (ROOT / f"{name.replace('.', '/')}.py").is_file())


def is_test_module(name):
    """Tell whether a name is that of a file of tests, or of one that only pytest reads."""
    last = name.rpartition(".")[2]
    return last.startswith("test_") or last == "conftest"


@pytest.mark.parametrize("module", MODULES, ids=str)
def test_each_module_of_analysis_has_its_tests_in_the_same_room(module):
    assert (TESTS / module.with_name(f"test_{module.name}")).is_file()


def test_no_file_of_tests_is_imported_by_another():
    """Code that several tests share is in `tests/support`."""
    faults = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in sorted(TESTS.rglob("*.py"))
        for name in modules_imported(
            path.read_text(encoding="utf-8"), path.relative_to(ROOT).parent.parts
        )
        if is_test_module(name)
    ]
    assert faults == []


@pytest.mark.parametrize(
    ("line", "expected"),
    [("import tests.conftest", True), ("from tests.conftest import run", True),
     ("from tests import conftest", True), ("from tests.test_rooms import MODULES", True),
     ("from . import test_rooms", True), ("from .test_rooms import MODULES", True),
     ("def f():\n    from conftest import run", True), ("import pytest", False),
     ("from tests.support.makers import World", False),
     ("from tests.support.makers import test_of_something", False),
     ("from fastapi.testclient import TestClient", False)],
)  # fmt: skip
def test_every_way_to_import_one_is_seen(line, expected):
    assert any(is_test_module(name) for name in modules_imported(line, ("tests",))) is expected

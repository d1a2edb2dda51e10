"""The client's examples work as shown, with a real service and the demo season."""

import doctest
import pkgutil
import shutil
from importlib import import_module
from pathlib import Path

import client
import pytest
from client import Gustbook

from scripts import register_season
from tests.support.service import Service

ROOT = Path(__file__).parents[2]
SEED = ROOT / "demo_seed"
MODULES = ["client", *(f"client.{each.name}" for each in pkgutil.iter_modules(client.__path__))]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """Serve the demo season; return the service and a lead's key."""
    service = Service(tmp_path_factory.mktemp("demo"))
    try:
        key = service.lead_key()
        with Gustbook(service.url, key) as gustbook:
            register_season.register(gustbook, SEED)
            for file in sorted(SEED.glob("trials_*.csv")):
                gustbook.submit_file(file, partial=True)
        yield service, key
    finally:
        service.kill()


@pytest.fixture
def gustbook(demo, monkeypatch, tmp_path):
    """Have what a coach has: the address and the key in variables, and a file of trials."""
    service, key = demo
    monkeypatch.setenv("GUSTBOOK_URL", service.url)
    monkeypatch.setenv("GUSTBOOK_KEY", key)
    shutil.copy(SEED / "trials_tarnwick.csv", tmp_path / "march.csv")
    monkeypatch.chdir(tmp_path)
    with Gustbook() as gustbook:
        yield gustbook


def examples(module):
    found = doctest.DocTestFinder().find(import_module(module))
    return [each for each in found if each.examples]


@pytest.mark.parametrize("name", [name for name in MODULES if examples(name)])
def test_the_examples_of_a_module_print_what_they_show(name, gustbook):
    runner, printed = doctest.DocTestRunner(optionflags=doctest.NORMALIZE_WHITESPACE), []
    for example in examples(name):
        example.globs.setdefault("gustbook", gustbook)
        runner.run(example, out=printed.append)
    assert runner.failures == 0, "".join(printed)
    assert runner.tries > 0


def test_every_call_has_an_example_but_the_plainest():
    shown = {each.name.rpartition(".")[2] for name in MODULES for each in examples(name)}
    calls = {name for name in dir(Gustbook) if not name.startswith("_")}
    assert calls - shown == {
        "close", "request", "get", "post", "seasons", "teams", "turbines", "builds", "benches",
        "sessions", "events",
    }  # fmt: skip

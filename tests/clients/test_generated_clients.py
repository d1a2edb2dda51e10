"""Clients that generators make from the API document compile, and use a running service."""

import importlib
import json
import pkgutil
import re
import shutil
import sys
from pathlib import Path

import httpx
import pytest

from tests.clients import tools
from tests.clients.season import Season
from tests.support.document import document
from tests.support.service import Service
from tests.support.sheets import sheet, three_runs

HERE = Path(__file__).parent
ROWS = sheet(*three_runs())
SHAPES = document()["components"]["schemas"]
OPERATIONS = {
    each["operationId"] for path in document()["paths"].values() for each in path.values()
}
#: What the programs get from the service, besides reports.
EXPECTED = {
    "tried": {"created": 1, "unchanged": 0, "error": 0},
    "changed": {"size": 5, "again": "/problems/stale"},
    "distance_m": 0.9,
}


def installed(place):
    assert place.exists(), "first run: python -m tests.clients.tools"
    return place


def run(folder, *command, **environment):
    """Run a program, which succeeds; return what it printed."""
    done = tools.run([*command], folder, **environment)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def comparable(text):
    """Return an answer with moments as the service writes them, and without the time of asking."""
    in_utc = text.replace("+00:00", "Z")
    return json.loads(re.sub(r'"as_of": ?"[^"]*"', '"as_of": ""', in_utc))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Return a folder with the document."""
    folder = tmp_path_factory.mktemp("clients")
    (folder / "openapi.json").write_text(json.dumps(document()), encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def with_node(folder):
    """Return the folder with the packages for Node.js, unless npm's registry did not answer."""
    if not tools.node_packages().exists():
        pytest.skip(tools.LEFT_OUT)
    (folder / "node_modules").symlink_to(tools.node_packages())
    for name in ("lint.mjs", "package.json", "season.ts", "tsconfig.json"):
        shutil.copy(HERE / name, folder)
    return folder


@pytest.fixture(scope="module")
def generated(folder):
    """Return a function that imports a part of the Python client, by its name."""
    run(
        folder, sys.executable, "-m", "openapi_python_client", "generate", "--fail-on-warning",
        "--path", "openapi.json", "--config", str(HERE / "generator.yaml"),
        "--meta", "none", "--output-path", "season_client",
        PYTHONPATH=str(installed(tools.python_generator())),
    )  # fmt: skip
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(folder)
        yield lambda name: importlib.import_module(f"season_client{name}")


@pytest.fixture(scope="module")
def compiled(with_node):
    """Return the folder, with the types of the TypeScript client and the compiled program."""
    run(
        with_node, "node_modules/.bin/openapi-typescript", "openapi.json",
        "--default-non-nullable=false", "--output", "api.d.ts",
    )  # fmt: skip
    run(with_node, "node_modules/.bin/tsc")
    return with_node


@pytest.fixture
def service(sqlite_templates, tmp_path):
    """Return a service with two schools, as a program of its own."""
    file = shutil.copy(sqlite_templates.populated, tmp_path / "programme.db")
    running = Service(tmp_path, f"sqlite:///{file}")
    yield running
    running.kill()


@pytest.fixture
def key(sqlite_templates):
    return sqlite_templates.world.larch.coach_key


@pytest.fixture
def reports(sqlite_templates, service, key):
    """Return four reports as they are without a generated client."""
    school = sqlite_templates.world.larch
    places = {
        "season": f"/v1/seasons/{school.season_id}/report",
        "organisation": f"/v1/organisations/{school.organisation_id}/report",
        "team": f"/v1/teams/{school.team_id}/report",
        "event": f"/v1/events/{school.event_id}/sheet",
    }
    with service.client(key) as client:
        return {
            name: comparable(client.get(place).raise_for_status().text)
            for name, place in places.items()
        }


class TestDocument:
    def test_the_linter_finds_what_is_wrong(self, with_node):
        wrong = {name: part for name, part in document().items() if name != "servers"}
        (with_node / "wrong.json").write_text(json.dumps(wrong), encoding="utf-8")
        found = tools.run(["node", "lint.mjs", "wrong.json"], with_node)
        assert (found.returncode, "no-empty-servers" in found.stdout + found.stderr) == (1, True)

    def test_it_follows_all_rules_that_the_linter_recommends(self, with_node):
        run(with_node, "node", "lint.mjs", "openapi.json")

    def test_it_is_what_the_service_serves(self, service):
        assert httpx.get(f"{service.url}/openapi.json", timeout=60).json() == document()


class TestPython:
    def test_each_operation_is_a_module_and_all_can_be_imported(self, generated):
        path = generated("").__path__
        modules = [each.name for each in pkgutil.walk_packages(path, "season_client.")]
        for name in modules:
            importlib.import_module(name)
        assert OPERATIONS - {name.rpartition(".")[2] for name in modules} == set()

    def test_each_shape_is_there(self, generated):
        named = {name for name, each in SHAPES.items() if "properties" in each or "enum" in each}
        assert named - set(dir(generated(".models"))) == set()

    def test_a_program_uses_a_service(self, generated, service, key, reports):
        answers = json.dumps(Season(generated, service.url, key).answers(ROWS))
        assert comparable(answers) == {"reports": reports} | EXPECTED


class TestTypeScript:
    def test_each_shape_and_each_operation_is_there(self, compiled):
        types = (compiled / "api.d.ts").read_text(encoding="utf-8")
        assert SHAPES.keys() | OPERATIONS <= set(re.findall(r"^ +(\w+):", types, re.M))

    def test_a_program_uses_a_service(self, compiled, service, key, reports):
        printed = run(
            compiled, "node", "season.js", GUSTBOOK_URL=service.url, GUSTBOOK_KEY=key, ROWS=ROWS
        )
        assert comparable(printed) == {"reports": reports} | EXPECTED

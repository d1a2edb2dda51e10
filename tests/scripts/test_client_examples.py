"""The client's examples and the notebook work as shown, with a real service and the demo season."""

import doctest
import pkgutil
import shutil
from importlib import import_module
from pathlib import Path

import client
import nbformat
import pytest
from client import Gustbook

from scripts import register_season
from tests.support.service import Service

ROOT = Path(__file__).parents[2]
SEED = ROOT / "demo_seed"
NOTEBOOK = ROOT / "scripts/evening_notebook.ipynb"
MODULES = ["client", *(f"client.{each.name}" for each in pkgutil.iter_modules(client.__path__))]
MOST_BYTES = 12_000


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
    monkeypatch.setenv("MPLBACKEND", "Agg")
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


def run_cells(notebook):
    """Run the cells of a notebook in turn; return the names that they define."""
    names = {}
    for cell in notebook.cells:
        if cell.cell_type == "code":
            exec(compile(cell.source, f"the cell {cell.id}", "exec"), names)
    return names


class TestNotebook:
    def test_a_cell_that_fails_is_named(self):
        cells = [nbformat.v4.new_code_cell(source) for source in ("a = 1", "a / 0", "b = 2")]
        with pytest.raises(ZeroDivisionError) as failed:
            run_cells(nbformat.v4.new_notebook(cells=cells))
        assert failed.traceback[-1].path == f"the cell {cells[1].id}"

    def test_it_is_stored_without_outputs(self):
        notebook = nbformat.read(NOTEBOOK, as_version=4)
        nbformat.validate(notebook)
        assert NOTEBOOK.stat().st_size < MOST_BYTES
        for cell in notebook.cells:
            if cell.cell_type == "code":
                assert (cell.outputs, cell.execution_count) == ([], None)

    def test_each_step_is_explained_before_it_is_done(self):
        kinds = [cell.cell_type for cell in nbformat.read(NOTEBOOK, as_version=4).cells]
        assert kinds == ["markdown", "code"] * (len(kinds) // 2)

    def test_it_submits_settles_compares_and_plots(self, gustbook, capsys):
        names = run_cells(nbformat.read(NOTEBOOK, as_version=4))
        printed = capsys.readouterr().out
        assert "column voltage_v: '376' must be between" in printed
        assert "9.8 mph would be" in printed
        (trial,) = gustbook.trials(client_ref="notebook-1")
        assert trial["state"] == "accepted"
        assert trial["result"]["wind_speed_m_s"] == pytest.approx(9.8 * 0.44704, abs=0.01)
        self.check_plots(names["plt"], gustbook)
        run_cells(nbformat.read(NOTEBOOK, as_version=4))  # again, nothing more is stored
        assert gustbook.count("/v1/trials", client_ref="notebook-1") == 1
        names["plt"].close("all")

    def check_plots(self, plt, gustbook):
        """Draw both figures, and compare what is on them with the API."""
        comparable, own = (plt.figure(number).axes[0] for number in plt.get_fignums())
        for axes in (comparable, own):
            axes.figure.canvas.draw()
        places = gustbook.report("season", gustbook.season()["id"])["comparison"]["places"]
        shown = [label.get_text() for label in comparable.get_yticklabels()][::-1]
        assert shown[:10] == [each["name"] for each in places[:10]]
        assert "Hazel" in shown
        team = gustbook.find("teams", "Hazel")
        trials = gustbook.trials(team_id=team["id"], kind="record", state="accepted")
        builds = {trial["build_id"] for trial in trials}
        assert len(own.get_legend().get_texts()) == len(builds) > 3

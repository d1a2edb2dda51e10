"""What holds for every script that a coach runs."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from tests.makers import World, created

SCRIPTS = Path(__file__).parents[2] / "scripts"
COACH = ["submit_trials", "season_report", "register_season"]
BEGIN, END = "# --- the same lines", "# --- end of the same lines"


def shared_lines(name):
    text = (SCRIPTS / f"{name}.py").read_text(encoding="utf-8")
    return text[text.index(BEGIN) : text.index(END)]


def test_what_they_share_is_the_same_to_the_letter():
    """Each is one file that can be copied alone, so what they share stands in each."""
    assert len({shared_lines(name) for name in COACH}) == 1


@pytest.mark.parametrize("name", COACH)
class TestEachScript:
    def test_needs_only_httpx_beside_python(self, name):
        tree = ast.parse((SCRIPTS / f"{name}.py").read_text(encoding="utf-8"))
        imported = {
            (node.module if isinstance(node, ast.ImportFrom) else alias.name).split(".")[0]
            for node in ast.walk(tree)
            if isinstance(node, ast.Import | ast.ImportFrom)
            for alias in node.names
        }
        assert imported - set(sys.stdlib_module_names) == {"httpx"}

    def test_names_its_needs_for_a_script_runner(self, name):
        # PEP 723
        text = (SCRIPTS / f"{name}.py").read_text(encoding="utf-8")
        assert '# /// script\n# requires-python = ">=3.11"\n# dependencies = ["httpx' in text

    def test_helps_with_examples_and_exit_codes(self, name):
        done = subprocess.run(
            [sys.executable, str(SCRIPTS / f"{name}.py"), "--help"],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert "example" in done.stdout
        assert "exit codes: 0" in done.stdout
        assert "GUSTBOOK_KEY" in done.stdout

    def test_without_a_key_it_says_how(self, name, tmp_path):
        arguments = [] if name == "season_report" else ["x"]
        done = subprocess.run(
            [sys.executable, str(SCRIPTS / f"{name}.py"), *arguments],
            capture_output=True, text=True, check=False,
            env={"GUSTBOOK_KEY_FILE": str(tmp_path / "none"), "PATH": "", "HOME": str(tmp_path)},
        )  # fmt: skip
        assert (done.returncode, "no access key" in done.stderr) == (3, True)
        assert "Traceback" not in done.stderr


class TestRegisterSeason:
    def test_the_demo_season_registers_once(self, lead, capsys):
        from scripts.register_season import register

        seed = SCRIPTS.parent / "demo_seed"
        new = register(lead, seed)
        assert new == {
            "seasons": 1, "organisations": 6, "equipment": 43, "teams": 24, "turbines": 25,
            "builds": 145, "benches": 6, "wind grids": 6,
        }  # fmt: skip
        assert set(register(lead, seed).values()) == {0}

    def test_a_wrong_row_is_named(self, lead, tmp_path):
        from scripts.register_season import Stop, register

        (tmp_path / "organisations.csv").write_text("name,altitude_m\nLarch,high\n")
        with pytest.raises(Stop, match=r"organisations.csv row 2, column altitude_m: 'high'"):
            register(lead, tmp_path)
        (tmp_path / "organisations.csv").write_text("name,altitude_m\nLarch,90000\n")
        with pytest.raises(Stop, match=r"(?s)row 2: 422.*must lie between -430 and 5000 m"):
            register(lead, tmp_path)

    def test_a_name_that_is_not_there(self, lead, tmp_path):
        from scripts.register_season import Stop, register

        created(lead.post("/v1/seasons", json={"name": "S", "starts_on": "2026-02-02",
                                               "ends_on": "2026-05-29"}))  # fmt: skip
        (tmp_path / "teams.csv").write_text("organisation,name\nNowhere,Larch\n")
        with pytest.raises(Stop, match="no Nowhere among organisations"):
            register(lead, tmp_path)


class TestSeasonReport:
    @pytest.fixture
    def fetch(self, world: World):
        from scripts import season_report

        def fetch(*arguments):
            options = {"season": None, "organisation": None, "team": None, "format": "text",
                       "excel": False}  # fmt: skip
            given = dict(zip(arguments[::2], arguments[1::2], strict=True))
            namespace = season_report.argparse.Namespace(**(options | given))
            return season_report.fetch(world.lead, namespace).decode()

        return fetch

    def test_to_read(self, fetch):
        text = fetch()
        assert "Larch one" in text
        assert "44.1 mW (33 to 60)" in text
        assert "1 trial, 1 session" in text

    def test_narrowed_by_names(self, fetch):
        assert "Birch" not in fetch("organisation", "larch SCHOOL")
        assert "Birch" not in fetch("team", "Larch one")

    @pytest.mark.parametrize(("form", "begins"), [("csv", "organisation,"), ("html", "<!doctype"),
                                                  ("json", '{"season_id"')])  # fmt: skip
    def test_formats(self, form, begins, fetch):
        assert fetch("format", form).startswith(begins)

    def test_a_name_that_is_not_there(self, fetch):
        from scripts.season_report import Stop

        with pytest.raises(Stop, match="there are: Birch one, Larch one"):
            fetch("team", "Alder")

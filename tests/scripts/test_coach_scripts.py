"""Rules for all scripts that a coach runs."""

import ast
import csv
import io
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from client import KeyNotAccepted, NotFound, Refused, WrongUse
from client.command_line import find_season

from tests.support.gustbooks import gustbook_of
from tests.support.makers import World, created, trial_payload

SCRIPTS = Path(__file__).parents[2] / "scripts"
COACH = ["submit_trials", "season_report", "register_season", "check_data",
         "compare_before_event", "run_order", "weekly_digest"]  # fmt: skip


@pytest.fixture
def gustbook(world: World):
    return gustbook_of(world.lead)


@pytest.fixture
def empty(lead):
    """Return a client of a service without a season."""
    return gustbook_of(lead)


def test_a_script_and_the_client_are_enough_anywhere(tmp_path):
    shutil.copy(SCRIPTS / "check_data.py", tmp_path)
    shutil.copytree(SCRIPTS / "client", tmp_path / "client")
    done = subprocess.run(
        [sys.executable, "check_data.py", "--help"],
        cwd=tmp_path, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert "--season" in done.stdout


@pytest.mark.parametrize("name", COACH)
class TestEachScript:
    def test_needs_only_httpx_and_the_client(self, name):
        tree = ast.parse((SCRIPTS / f"{name}.py").read_text(encoding="utf-8"))
        imported = {
            (node.module if isinstance(node, ast.ImportFrom) else alias.name).split(".")[0]
            for node in ast.walk(tree)
            if isinstance(node, ast.Import | ast.ImportFrom)
            for alias in node.names
        }
        assert imported - set(sys.stdlib_module_names) <= {"httpx", "client", "season_tables"}

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
        needs_a_file = name in ("submit_trials", "register_season", "check_data")
        arguments = ["x"] if needs_a_file else []
        done = subprocess.run(
            [sys.executable, str(SCRIPTS / f"{name}.py"), *arguments],
            capture_output=True, text=True, check=False,
            env={"GUSTBOOK_KEY_FILE": str(tmp_path / "none"), "PATH": "", "HOME": str(tmp_path)},
        )  # fmt: skip
        assert (done.returncode, "no access key" in done.stderr) == (3, True)
        assert "Traceback" not in done.stderr


class TestRegisterSeason:
    def test_the_demo_season_registers_once(self, empty, capsys):
        from scripts.register_season import register

        seed = SCRIPTS.parent / "demo_seed"
        new = register(empty, seed)
        assert new == {
            "seasons": 1, "organisations": 6, "equipment": 47, "teams": 24, "turbines": 25,
            "builds": 145, "benches": 7, "wind grids": 6, "loans": 2, "events": 1,
        }  # fmt: skip
        assert set(register(empty, seed).values()) == {0}

    def test_a_wrong_row_is_named(self, empty, tmp_path):
        from scripts.register_season import register

        (tmp_path / "organisations.csv").write_text("name,altitude_m\nLarch,high\n")
        with pytest.raises(Refused, match=r"organisations.csv row 2: column altitude_m: 'high'"):
            register(empty, tmp_path)
        (tmp_path / "organisations.csv").write_text("name,altitude_m\nLarch,90000\n")
        with pytest.raises(Refused, match=r"row 2: altitude_m must be between -430 and 5000 m"):
            register(empty, tmp_path)

    def test_a_name_that_is_not_there(self, empty, lead, tmp_path):
        from scripts.register_season import register

        created(lead.post("/v1/seasons", json={"name": "S", "starts_on": "2026-02-02",
                                               "ends_on": "2026-05-29"}))  # fmt: skip
        created(lead.post("/v1/organisations", json={"name": "Tarnwick"}))
        (tmp_path / "teams.csv").write_text("organisation,name\nTarnwik,Larch\n")
        with pytest.raises(Refused, match=r"teams.csv row 2: 'Tarnwik' is not .* mean Tarnwick"):
            register(empty, tmp_path)

    @pytest.mark.parametrize(
        ("content", "words"),
        [
            pytest.param("name,colour\nA,red\n", "'colour' is not a column", id="column"),
            pytest.param("name,altitude_m\nA,1,2\n", "row 2 has 3 cells", id="cells"),
            pytest.param('name\n"A\n', "cannot be cut into cells", id="quote"),
        ],
    )
    def test_a_table_that_cannot_be_read(self, content, words, empty, tmp_path):
        from scripts.register_season import register

        (tmp_path / "organisations.csv").write_text(content)
        with pytest.raises(Refused, match=words):
            register(empty, tmp_path)
        (tmp_path / "organisations.csv").write_bytes(b"name\n\xe9cole\n")
        with pytest.raises(Refused, match="not UTF-8"):
            register(empty, tmp_path)

    def test_a_number_with_decimals_or_thousands_is_asked_about(self, empty, lead, tmp_path):
        from scripts.register_season import register

        path = tmp_path / "organisations.csv"
        path.write_text("name;altitude_m\nA;1,200\n")
        with pytest.raises(
            Refused, match=r"row 2, column altitude_m: '1,200' may mean 1.200 or 1200"
        ):
            register(empty, tmp_path)
        path.write_text("name;altitude_m\nA;1,200\nB;310,5\n")
        register(empty, tmp_path)
        schools = lead.get("/v1/organisations").json()["items"]
        assert {each["name"]: each["altitude_m"] for each in schools} == {"A": 1.2, "B": 310.5}

    def test_an_empty_folder(self, empty, tmp_path):
        from scripts.register_season import register

        with pytest.raises(WrongUse, match="holds none of"):
            register(empty, tmp_path)

    def test_semicolons_other_units_and_all_faults_of_a_table(self, empty, lead, tmp_path, capsys):
        from scripts.register_season import register

        path = tmp_path / "organisations.csv"
        path.write_text("name;altitude_ft\nA;1000,5\nB;x\nC;90000\n")
        with pytest.raises(Refused, match=r"(?s)row 3: .*'x'.*row 4: altitude_ft must be.*1 other"):
            register(empty, tmp_path)
        (stored,) = lead.get("/v1/organisations").json()["items"]
        assert stored["altitude_m"] == pytest.approx(1000.5 * 0.3048)
        path.write_text("name;altitude_m\nA;7\n")
        assert register(empty, tmp_path)["organisations"] == 0
        assert "altitude_m differ from what is registered" in capsys.readouterr().out

    def test_a_grid_is_sent_when_the_bench_has_none(self, world: World, tmp_path):
        from scripts.register_season import register

        path = tmp_path / "wind_grids.csv"
        head = "organisation,bench,x_radii,y_radii,wind_speed_mph\n"
        path.write_text(head + "Larch school,Larch hull,0,0,9\n")
        with pytest.raises(Refused, match=r"row 2: 'Larch hull' .* mean Larch hall"):
            register(gustbook_of(world.larch.coach), tmp_path)
        path.write_text(head + "Larch school,Larch hall,0,0,9\n")
        assert register(gustbook_of(world.larch.coach), tmp_path)["wind grids"] == 1
        assert register(gustbook_of(world.larch.coach), tmp_path)["wind grids"] == 0

    def test_a_coachs_key_gets_a_hint_what_a_lead_does(self, world: World, tmp_path):
        from scripts.register_season import register

        (tmp_path / "organisations.csv").write_text("name\nNew school\n")
        with pytest.raises(KeyNotAccepted, match=r"leave out season.csv"):
            register(gustbook_of(world.larch.coach), tmp_path)


class TestSeasonReport:
    @pytest.fixture
    def fetch(self, gustbook):
        from scripts import season_report

        def fetch(*arguments):
            options = {"season": None, "organisation": None, "team": None, "format": "text",
                       "excel": False, "kind": "season", "event": None}  # fmt: skip
            values = dict(zip(arguments[::2], arguments[1::2], strict=True))
            namespace = season_report.argparse.Namespace(**(options | values))
            return season_report.fetch(gustbook, namespace).decode("utf-8", "replace")

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
                                                  ("json", '{"season_id"'),
                                                  ("xlsx", "PK")])  # fmt: skip
    def test_formats(self, form, begins, fetch):
        assert fetch("format", form).startswith(begins)

    def test_a_name_that_is_not_there(self, fetch):
        with pytest.raises(NotFound, match="there are: Birch one, Larch one"):
            fetch("team", "Alder")

    def test_every_kind_to_read(self, fetch):
        team = fetch("kind", "team", "team", "Larch one")
        assert "our number    44.1 mW (33 to 60), build 1" in team
        event = fetch("kind", "event")
        assert "Larch one        open" in event
        assert "  1. reference rotor" in event
        assert "Larch-other" in fetch("kind", "equipment")
        school = fetch("kind", "organisation", "organisation", "Larch school")
        assert "Birch" not in school

    def test_as_pdf(self, fetch):
        assert fetch("kind", "team", "team", "Larch one", "format", "pdf").startswith("%PDF-")

    def test_a_team_must_be_named(self, fetch):
        with pytest.raises(WrongUse, match="--team"):
            fetch("kind", "team")

    def test_all_of_them_into_a_folder(self, gustbook, tmp_path):
        from scripts import season_report

        options = season_report.argparse.Namespace(season=None, format="html", all=tmp_path / "r")
        written = season_report.fetch_all(gustbook, options)
        assert sorted(path.name for path in written) == [
            "equipment.html", "event-spring-meeting.html", "school-birch-school.html",
            "school-larch-school.html", "season.html", "team-birch-one-birch-school.html",
            "team-larch-one-larch-school.html",
        ]  # fmt: skip
        assert all(path.read_text(encoding="utf-8").startswith("<!doctype") for path in written)


class TestCompareBeforeEvent:
    def event_facts(self, world: World, **asked):
        from scripts import compare_before_event as script

        options = script.argparse.Namespace(**({"season": None, "event": None} | asked))
        return script, script.read_event(gustbook_of(world.lead), options)

    def test_before_anything_joins_the_schools(self, world: World):
        script, event_facts = self.event_facts(world)
        text = script.to_text(event_facts, with_pairs=True)
        assert "Larch one        cannot be placed: no reference rotor" in text
        assert "What would make all comparable" in text
        assert "Larch one        open" in text

    def test_once_the_reference_rotor_ran_at_both(self, world: World):
        for school in (world.larch, world.birch):
            trial = trial_payload(school, kind="reference", build_id=world.reference_build_id)
            created(world.lead.post("/v1/trials", json=trial))
        script, event_facts = self.event_facts(world)
        text = script.to_text(event_facts, with_pairs=True)
        assert "2 teams can be placed" in text
        assert " mW " in text
        assert "the uncertainty between two teams falls" in text

    def test_an_event_that_is_not_there(self, world: World):
        with pytest.raises(NotFound, match="there are: Spring meeting"):
            self.event_facts(world, event="Autumn meeting")


class TestRunOrder:
    def fetch(self, client, **asked):
        from scripts import run_order as script

        options = {"season": None, "event": None, "draw": False, "seed": None, "attempts": None}
        chosen = script.argparse.Namespace(**(options | asked))
        return script, *script.fetch(gustbook_of(client), chosen)

    def test_it_is_drawn_and_shown(self, world: World):
        script, event, order = self.fetch(world.lead, draw=True, seed=7, attempts=2)
        assert self.fetch(world.lead)[2]["slots"] == order["slots"]
        text = script.to_text(event, order)
        assert "drawn with seed 7" in text
        assert text.count("Larch one") == 2
        assert "attempt 2" in text
        rows = list(csv.DictReader(io.StringIO(script.to_csv(order))))
        assert rows[0]["whose"] == "reference rotor"

    def test_a_coach_draws_nothing(self, world: World):
        with pytest.raises(KeyNotAccepted, match="lead"):
            self.fetch(world.larch.coach, draw=True)


class TestCheckData:
    def held(self, world: World):
        """Store a trial in miles an hour and one with a stray run."""
        for ref, changed in (
            ("mph", {"wind_speed_m_s": 9.4}),
            ("stray", {"runs": [{"voltage_v": 1.2}, {"voltage_v": 0.9}]}),
        ):
            asked = trial_payload(world.larch, client_ref=ref, **changed)
            created(world.larch.coach.post("/v1/trials", json=asked))

    def test_nothing_needs_an_answer(self, gustbook):
        from scripts.check_data import open_questions, to_text

        rows = open_questions(gustbook, None, with_warnings=False)
        assert to_text(rows) == "Nothing needs an answer.\n"

    def test_one_alone_needs_an_answer(self, gustbook, world: World):
        from scripts.check_data import open_questions, to_text

        self.held(world)
        rows = open_questions(gustbook, None, with_warnings=False)
        assert to_text(rows[:1]).startswith("1 needs an answer and is not counted yet\n")
        assert to_text(rows, holds_shown=1).count("held") == 1

    def test_questions_are_listed_by_school_and_say_what_to_do(self, gustbook, world: World):
        from scripts.check_data import open_questions, to_csv, to_text

        self.held(world)
        rows = open_questions(
            gustbook,
            find_season(gustbook, "Spring 2026"),
            with_warnings=True,
        )
        text = to_text(rows)
        assert text.startswith("2 need an answer and are not counted yet;")
        assert "Larch school" in text
        assert "Larch one, build 1, 5 March 2026, mph: 9.4 m/s at this bench?" in text
        assert "Accept 4.20 m/s" in text
        table = list(csv.DictReader(io.StringIO(to_csv(rows))))
        mine = [row for row in table if row["organisation"] == "Larch school"]
        assert [row["severity"] for row in mine][:3] == ["hold", "hold", "warn"]
        assert mine[0]["flag_id"].startswith("flg_")

    def test_an_unknown_season_is_named(self, gustbook):
        with pytest.raises(NotFound, match="no season Autumn; there are: Spring 2026"):
            find_season(gustbook, "Autumn")

    def test_a_coming_season_hides_no_question_of_the_one_with_trials(
        self, gustbook, world: World, capsys
    ):
        from scripts.check_data import open_questions, seasons_line, to_text

        self.held(world)
        later = {"name": "Next", "starts_on": "2090-01-01", "ends_on": "2090-05-01"}
        created(world.lead.post("/v1/seasons", json=later))
        assert to_text(open_questions(gustbook, None, with_warnings=False)).startswith("2 need")
        assert seasons_line(gustbook) == "seasons: Spring 2026, Next"
        assert find_season(gustbook, None)["name"] == "Spring 2026"
        assert "Spring 2026 has the newest trial" in capsys.readouterr().err
        next_id = find_season(gustbook, "next")["id"]
        assert find_season(gustbook, next_id)["name"] == "Next"


class TestReview:
    def test_answers_are_given_one_by_one(self, world: World, monkeypatch, capsys):
        from scripts.submit_trials import review

        TestCheckData().held(world)
        trials = world.larch.coach.get("/v1/trials").json()["items"]
        held = {trial["id"] for trial in trials if trial["state"] == "held"}
        assert len(held) == 2
        answers = iter(["a", "c", "a blade was reset"])
        monkeypatch.setattr("builtins.input", lambda prompt: next(answers))
        review(gustbook_of(world.larch.coach), held)
        printed = capsys.readouterr().out
        assert "9.4 mph would be 4.20 m/s" in printed
        after = world.larch.coach.get("/v1/trials").json()["items"]
        assert {trial["state"] for trial in after} == {"accepted"}

    def test_an_empty_line_leaves_it_open(self, world: World, monkeypatch):
        from scripts.submit_trials import review

        TestCheckData().held(world)
        trials = world.larch.coach.get("/v1/trials").json()["items"]
        held = {trial["id"] for trial in trials if trial["state"] == "held"}
        monkeypatch.setattr("builtins.input", lambda prompt: "")
        review(gustbook_of(world.larch.coach), held)
        after = world.larch.coach.get("/v1/trials").json()["items"]
        assert {trial["id"] for trial in after if trial["state"] == "held"} == held

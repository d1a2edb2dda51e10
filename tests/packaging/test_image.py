"""The image is built from the right files, without a container engine, which CI does not have.

`tests/packaging/test_wheel.py` starts the service from a wheel with exactly these bytes.
"""

import re
import tomllib
import zipfile

import psycopg
import pytest
from typer.testing import CliRunner

from api.__main__ import app
from api.settings import PREFIX, Settings, unknown_variables
from tests.support.container_files import command, copied, instructions, sent
from tests.support.installing import ROOT, build, contents, copy_files, files_of_tree

DEPLOY = ROOT / "scripts/deploy"
README = (DEPLOY / "README.md").read_text(encoding="utf-8")
IGNORE = (ROOT / ".dockerignore").read_text(encoding="utf-8")
CONTAINERFILE = instructions((DEPLOY / "Containerfile").read_text(encoding="utf-8"))
FIRST_STAGE, SERVICE_STAGE = (
    index for index, (word, _) in enumerate(CONTAINERFILE) if word == "FROM"
)
#: The client programs of PostgreSQL in a release of Debian, by its package index on 2026-11-30.
PG_DUMP_OF_DEBIAN = {"bookworm": "15", "trixie": "17"}


def copies(stage):
    """Return the arguments of a stage's COPY lines that take files from outside the image."""
    return [rest for word, rest in stage if word == "COPY" and not rest.startswith("--from=")]


def arguments_of(word):
    return [rest for each, rest in CONTAINERFILE[SERVICE_STAGE:] if each == word]


class TestFiles:
    @pytest.mark.parametrize(
        "path",
        [".git/config", ".venv/bin/python", "var/gustbook.db", "tests/conftest.py", "README.md",
         "demo_seed/teams.csv", "scripts/client/errors.py", "scripts/lock/audit.txt",
         "api/__pycache__/main.cpython-311.pyc", "api/web/__pycache__/forms.cpython-311.pyc"],
    )  # fmt: skip
    def test_other_files_are_not_sent(self, path):
        assert sent([path], IGNORE) == []

    def test_every_file_that_is_sent_is_used(self):
        paths = sent(files_of_tree(), IGNORE)
        used = {path for each in copies(CONTAINERFILE) for path, _ in copied(paths, each)}
        assert used == set(paths)

    def test_the_first_stage_builds_the_same_wheel_as_the_tree(self, tmp_path):
        paths = sent(files_of_tree(), IGNORE)
        stage = CONTAINERFILE[FIRST_STAGE:SERVICE_STAGE]
        pairs = [pair for each in copies(stage) for pair in copied(paths, each)]
        (wheel,) = build(copy_files(pairs, tmp_path / "source"), tmp_path / "dist", "-t", "wheel")
        (expected,) = build(
            copy_files(files_of_tree(), tmp_path / "tree"), tmp_path / "expected", "-t", "wheel"
        )
        assert contents(wheel) == contents(expected)
        assert zipfile.Path(wheel, "api/web/templates/base.html").is_file()

    @pytest.mark.parametrize("lock", ["lock.txt", "/tmp/runtime.txt"])
    def test_a_lock_file_that_is_used_is_copied_there(self, lock):
        assert any(lock in rest for word, rest in CONTAINERFILE if word == "RUN")
        assert any(rest.endswith(f" {lock}") for rest in copies(CONTAINERFILE))


class TestService:
    def test_its_settings_are_known_and_right(self):
        pairs = [pair.split("=", 1) for rest in arguments_of("ENV") for pair in rest.split()]
        variables = dict(pairs)
        assert unknown_variables(variables) == []
        settings = Settings(**{
            name.removeprefix(PREFIX).lower(): value for name, value in variables.items()
        })  # fmt: skip
        (volume,) = arguments_of("VOLUME")
        assert settings.database_url.startswith(f"sqlite:///{volume}/")
        assert settings.backup_folder.startswith(f"{volume}/")

    def test_its_command_is_one_of_ours_on_the_port_that_is_exposed(self):
        program, *words = command(CONTAINERFILE)
        project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
        assert program in project["scripts"]
        assert CliRunner().invoke(app, [*words, "--help"]).exit_code == 0
        assert words[words.index("--port") + 1 :][:1] == arguments_of("EXPOSE")

    def test_pg_dump_is_that_of_the_newest_server_that_is_promised(self):
        """It refuses a newer server; a backup then says so, and which version is needed."""
        packages = re.findall(r"postgresql-client-(\d+)", " ".join(arguments_of("RUN")))
        (release,) = re.findall(r"-slim-(\w+)$", arguments_of("FROM")[0])
        assert packages == [PG_DUMP_OF_DEBIAN[release]]
        assert re.findall(r"for PostgreSQL up to (\d+)", README) == packages

    def test_the_server_of_the_tests_is_the_one_that_is_named(self, postgres_address):
        with psycopg.connect(postgres_address) as connected:
            version = connected.info.server_version // 10_000
        assert f"tests run on PostgreSQL {version}" in README

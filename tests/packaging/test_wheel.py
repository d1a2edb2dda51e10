"""The wheel has the complete service and only that, and runs away from the source tree."""

import re
import shutil
import signal
import time
import tomllib
from pathlib import Path

import httpx
import pytest

from tests.support.installing import ROOT, build, contents, copy_files, files_of_tree, install
from tests.support.service import Service

PACKAGES = ("analysis/", "api/")
VERSION = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]


def of_packages(paths):
    return sorted(path for path in paths if path.startswith(PACKAGES))


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Return the archive of sources and the wheel, built from a clean copy of the tree."""
    folder = tmp_path_factory.mktemp("built")
    source = copy_files(files_of_tree(), folder / "source")
    wheel, archive = build(source, folder / "dist")
    return archive, wheel


@pytest.fixture(scope="module")
def wheel(built):
    return built[1]


@pytest.fixture(scope="module")
def installed(wheel, tmp_path_factory):
    return install(wheel, tmp_path_factory.mktemp("installed"))


class TestContents:
    def test_the_packages_are_complete_and_there_is_nothing_else(self, wheel):
        own = f"{wheel.name.removesuffix('-py3-none-any.whl')}.dist-info/"
        paths = [path for path in contents(wheel) if not path.startswith(own)]
        assert sorted(paths) == of_packages(files_of_tree())

    def test_the_licence_is_in_it(self, wheel):
        (licence,) = (text for path, text in contents(wheel).items() if path.endswith("/LICENSE"))
        assert licence == (ROOT / "LICENSE").read_bytes()

    def test_the_archive_of_sources_gives_the_same_wheel(self, built, tmp_path):
        archive, wheel = built
        shutil.unpack_archive(archive, tmp_path, filter="data")
        (source,) = tmp_path.iterdir()
        (again,) = build(source, tmp_path / "dist", "--target", "wheel")
        assert again.read_bytes() == wheel.read_bytes()


class TestCommand:
    def test_a_wrong_setting_is_named_without_a_traceback(self, installed):
        done = installed.run("gustbook", "migrate", GUSTBOOK_DATABSE_URL="sqlite:///x.db")
        assert done.returncode == 2
        assert "did you mean GUSTBOOK_DATABASE_URL?" in done.stderr
        assert "Traceback" not in done.stderr
        assert list(installed.folder.iterdir()) == []

    def test_it_has_a_version_and_runs_from_its_own_files(self, installed):
        assert installed.run("gustbook", "--version").stdout == f"gustbook {VERSION}\n"
        place = installed.run("python", "-c", "import api; print(api.__file__)").stdout
        assert Path(place).is_relative_to(installed.environment)

    def test_as_a_module_it_says_so_and_offers_no_completion(self, installed):
        """A shell completes the name of a command, and this is none."""
        printed = installed.run("python", "-m", "api", "--help").stdout
        assert "Usage: python -m api " in printed
        assert "completion" not in printed

    def test_a_shell_that_completes_it_does_not_wait_for_the_packages_of_the_service(
        self, installed
    ):
        slow = {"fastapi", "pydantic", "sqlalchemy"}
        code = f"import sys, api.__main__; print({slow} & {{*sys.modules}})"
        assert installed.run("python", "-c", code).stdout == "set()\n"

    def test_bash_completes_it(self, installed):
        script = """
            eval "$(gustbook --show-completion)" || exit 1
            complete -p gustbook | grep --quiet -- '-F _gustbook_completion' || exit 1
            COMP_WORDS=(gustbook key cre); COMP_CWORD=2; _gustbook_completion gustbook
            echo "${COMPREPLY[@]}"
            COMP_WORDS=(gustbook key ''); COMP_CWORD=2; _gustbook_completion gustbook
            echo "${COMPREPLY[@]}"
        """
        done = installed.run("bash", "-c", script)
        assert done.stdout.splitlines() == ["create", "create list revoke"], done.stderr

    def test_it_migrates_makes_a_key_and_serves(self, installed, tmp_path):
        migrated = installed.run("gustbook", "migrate")
        assert migrated.returncode == 0, migrated.stderr
        key = installed.run("gustbook", "key", "create", "--role", "lead", "--label", "L").stdout
        port, log = Service.free_port(), tmp_path / "log"
        serving = installed.start("gustbook", "serve", "--port", str(port), log=log)
        try:
            _check_answers(f"http://127.0.0.1:{port}", key.strip())
            serving.terminate()
            assert serving.wait(timeout=30) == -signal.SIGTERM, log.read_text()
        finally:
            serving.kill()
            serving.wait()


def _check_answers(url, key):
    """Ask for what needs each kind of file: modules, templates, styles and both catalogues."""
    _wait_for(f"{url}/readyz")
    with httpx.Client(base_url=url) as client:
        signed = {"Authorization": f"Bearer {key}"}
        assert client.get("/v1/meta", headers=signed).json()["version"] == VERSION
        assert client.get("/v1/seasons", headers=signed).json()["items"] == []
        page = client.get("/sign-in", headers={"Accept-Language": "de"})
        assert "Zugangsschlüssel" in page.text
        style = re.search(r'rel="stylesheet" href="([^"]+)"', page.text)[1]
        assert client.get(style).headers["Content-Type"].startswith("text/css")


def _wait_for(url):
    until = time.monotonic() + 60
    while time.monotonic() < until:
        try:
            if httpx.get(url, timeout=2).status_code == 200:
                return
        except httpx.TransportError:
            time.sleep(0.1)
    raise AssertionError("the service did not start")

"""The programs that make clients are installed once; if one is missing, the check fails."""

import pytest

from tests.clients import tools


@pytest.fixture
def _without_npms_registry(monkeypatch, tmp_path):
    """Only Python's packages can be fetched, from an address that answers."""
    monkeypatch.setattr(tools, "FOLDER", tmp_path)
    monkeypatch.setattr(tools, "_install_python", lambda folder: tools.run(["true"], folder))
    monkeypatch.setenv("npm_config_offline", "false")
    monkeypatch.setenv("npm_config_registry", "http://127.0.0.1:9")
    monkeypatch.setenv("npm_config_fetch_retries", "0")
    monkeypatch.setenv("npm_config_cache", str(tmp_path / "cache"))


@pytest.fixture
def _offline(monkeypatch):
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("npm_config_offline", "true")


def test_without_node_the_check_fails_and_says_how_to_get_it(monkeypatch, capsys):
    monkeypatch.setenv("PATH", "")
    assert tools.main() == 1
    assert "sudo apt install nodejs npm" in capsys.readouterr().err


@pytest.mark.usefixtures("_offline")
def test_without_a_network_the_check_fails_and_asks_for_it(monkeypatch, capsys, tmp_path):
    monkeypatch.setattr(tools, "FOLDER", tmp_path)
    assert tools.main() == 1
    words = capsys.readouterr().err
    assert "openapi-python-client==" in words
    assert "is the network there?" in words
    assert not tools.python_generator().exists()


@pytest.mark.usefixtures("_without_npms_registry")
def test_where_npms_registry_does_not_answer_its_part_is_left_out_and_said(capsys):
    assert tools.main() == 0
    assert capsys.readouterr().err.endswith(f"{tools.LEFT_OUT}\n")
    assert not tools.node_packages().exists()


@pytest.mark.usefixtures("_without_npms_registry")
def test_packages_that_cannot_be_installed_from_a_registry_that_answers_fail(monkeypatch, capsys):
    monkeypatch.setattr(tools, "_install_node", lambda folder: tools.run(["false"], folder))
    monkeypatch.setattr(tools, "_answers", lambda: True)
    assert tools.main() == 1
    assert "is the network there?" in capsys.readouterr().err


@pytest.mark.usefixtures("_offline")
def test_what_is_there_needs_no_network():
    assert tools.main() == 0


def test_the_packages_for_node_are_locked_with_digests_and_without_addresses():
    lock = tools.NODE_FILES[1].read_text(encoding="utf-8")
    packages = lock.count('"node_modules/')
    assert lock.count('"integrity": "sha512-') == packages > 20
    assert '"resolved"' not in lock

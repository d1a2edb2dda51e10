"""What is promised in prose is there: settings, columns, calls, scripts, commands."""

import re
from pathlib import Path

import pytest
from typer.main import get_command

from api.__main__ import app
from api.services.imports.headers import COLUMNS
from api.settings import PREFIX, Settings, WrongSettings, read_settings
from tests.document import document

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_every_setting_is_documented_with_its_default():
    for name, field in Settings.model_fields.items():
        assert field.description
        default = f"{field.default:g}" if isinstance(field.default, float) else field.default
        assert re.search(rf"`{PREFIX}{name.upper()}` \| `?{re.escape(str(default))}`? \|", README)


def test_every_column_is_documented():
    for column in COLUMNS:
        assert f"`{column}`" in README


def test_every_call_is_documented():
    for path in document()["paths"]:
        if path.endswith("openapi.json"):
            continue
        of_all = re.sub(r"/v1/[a-z]+/\{[a-z_]+\}/history$", "/v1/{things}/{id}/history", path)
        collection = re.sub(r"/\{[a-z_]+\}$", "", of_all)
        assert of_all in README or f"`{collection}`" in README, path


def test_every_script_is_named():
    for script in (ROOT / "scripts").glob("[a-z]*.py"):
        if script.stem != "environment":
            told = (README, DEVELOPERS, (ROOT / "demo_seed/README.md").read_text(), CHANGES)
            assert any(script.name in text for text in told), script.name


CHANGES = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_every_command_helps_with_an_example():
    commands = get_command(app).commands
    for name, command in {**commands, **commands["key"].commands}.items():
        if name != "key":
            assert "python -m api" in (command.epilog or ""), name


def test_the_rooms_are_the_ones_described():
    top = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert top - {"var"} == {
        "README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml",
        "analysis", "api", "scripts", "demo_seed", "tests",
    }  # fmt: skip


def test_every_wrong_setting_is_named_at_start(monkeypatch):
    monkeypatch.setenv("GUSTBOOK_DATABASE_URL", "mysql://x")
    monkeypatch.setenv("GUSTBOOK_WORKER_THREADS", "none")
    with pytest.raises(WrongSettings, match=r"(?s)GUSTBOOK_DATABASE_URL.*GUSTBOOK_WORKER_THREADS"):
        read_settings()


def test_locks_hold_hashes_and_no_address():
    for lock in (ROOT / "scripts/lock").iterdir():
        text = lock.read_text(encoding="utf-8")
        assert "--hash=sha256:" in text
        assert not re.search(r"https?:|index-url|find-links", text)

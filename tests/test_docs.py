"""The documents are correct: settings, columns, calls, scripts, commands."""

import re
from pathlib import Path

import pytest
from typer.main import get_command

from api.__main__ import app
from api.services.imports.headers import COLUMNS
from api.settings import PREFIX, Settings, WrongSettings, read_settings

ROOT = Path(__file__).parents[1]
MOST_LINES = 150


def text_of(path):
    return (ROOT / path).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_the_first_documents_are_short(name):
    assert len(text_of(name).splitlines()) <= MOST_LINES


@pytest.mark.parametrize("path", sorted(
    str(path.relative_to(ROOT)) for path in ROOT.rglob("*.md")
    if not any(part.startswith(".") for part in path.relative_to(ROOT).parts)
    and "var" not in path.relative_to(ROOT).parts
))  # fmt: skip
def test_every_link_leads_to_a_file(path):
    links = re.findall(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)", text_of(path))
    missing = [link for link in links if not (ROOT / path).parent.joinpath(link).exists()]
    assert missing == []


def test_every_setting_is_documented_with_its_default():
    for name, field in Settings.model_fields.items():
        assert field.description
        default = f"{field.default:g}" if isinstance(field.default, float) else field.default
        row = rf"`{PREFIX}{name.upper()}` \| `?{re.escape(str(default))}`? \|"
        assert re.search(row, text_of("scripts/deploy/README.md"))


def test_every_column_is_documented():
    for column in COLUMNS:
        assert f"`{column}`" in text_of("scripts/README.md")


def test_every_script_is_named():
    named = text_of("scripts/README.md") + text_of("demo_seed/README.md") + text_of("CHANGELOG.md")
    for script in (ROOT / "scripts").glob("[a-z]*.py"):
        assert script.stem == "environment" or script.name in named, script.name


def test_every_command_helps_with_an_example():
    commands = get_command(app).commands
    for name, command in {**commands, **commands["key"].commands}.items():
        if name != "key":
            assert "gustbook " in (command.epilog or ""), name


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


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"SIGN_IN_ISSUER": "http://sso.school.test"}, "SIGN_IN_ISSUER: .*https"),
        ({"SIGN_IN_ISSUER": "sso.school.test"}, "SIGN_IN_ISSUER: .*https"),
        ({"SIGN_IN_ISSUER": "https://[x"}, "SIGN_IN_ISSUER: .*https"),
        ({"SIGN_IN_ISSUER": "https://sso.school.test"}, "SIGN_IN_CLIENT_ID must be set"),
        ({"SIGN_IN_CLIENT_ID": "gustbook"}, "SIGN_IN_ISSUER must be set"),
        (
            {"SIGN_IN_NAME": "x", "SIGN_IN_CLIENT_SECRET": ""},
            "SIGN_IN_ISSUER and .*CLIENT_ID and .*CLIENT_SECRET must be set",
        ),
        ({"SIGN_IN_OTHER_HOSTS": "https://x.test"}, "SIGN_IN_OTHER_HOSTS: .*match"),
        ({"SIGN_IN_CLIENT_SECRET_FILE": "/none"}, "SIGN_IN_CLIENT_SECRET_FILE: .*cannot be read"),
    ],
)
def test_a_part_of_the_settings_of_a_school_account_is_named_at_start(changed, named, monkeypatch):
    monkeypatch.setenv("GUSTBOOK_SIGN_IN_CLIENT_SECRET", "a secret")
    for name, value in changed.items():
        monkeypatch.setenv(f"GUSTBOOK_{name}", value)
    with pytest.raises(WrongSettings, match=named) as wrong:
        read_settings()
    assert "a secret" not in str(wrong.value)


def test_the_secret_of_a_school_account_is_read_from_a_file(monkeypatch, tmp_path):
    file = tmp_path / "secret"
    file.write_text("from a file\n", encoding="utf-8")
    monkeypatch.setenv("GUSTBOOK_SIGN_IN_CLIENT_SECRET", "from the environment")
    monkeypatch.setenv("GUSTBOOK_SIGN_IN_ISSUER", "https://sso.school.test")
    monkeypatch.setenv("GUSTBOOK_SIGN_IN_CLIENT_ID", "gustbook")
    assert read_settings().sign_in_secret == "from the environment"
    assert "from the environment" not in repr(read_settings())
    monkeypatch.setenv("GUSTBOOK_SIGN_IN_CLIENT_SECRET_FILE", str(file))
    assert read_settings().sign_in_secret == "from a file"


def test_locks_hold_hashes_and_no_address():
    for lock in (ROOT / "scripts/lock").iterdir():
        text = lock.read_text(encoding="utf-8")
        assert "--hash=sha256:" in text
        assert not re.search(r"https?:|index-url|find-links", text)

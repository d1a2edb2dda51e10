"""The version in pyproject.toml and the newest heading of the changelog agree.

While changes are unreleased, the version is the coming one with `.dev0`: `0.2.0.dev0`. A release
takes both away: its heading is `## 0.2.0 (2026-12-31)`, and its tag `v0.2.0`.
"""

import re
import tomllib
from importlib.metadata import PackageNotFoundError
from itertools import pairwise

import pytest
from packaging.version import Version

from api import version
from tests.support.installing import ROOT

UNRELEASED = "Unreleased"
RELEASED = re.compile(r"(\d+\.\d+\.\d+) \(\d{4}-\d{2}-\d{2}\)")


def headings_of(changelog):
    return re.findall(r"^## (.+)$", changelog, re.MULTILINE)


def disagreement(number, headings):
    """Return how a version and the changelog's headings disagree, or None.

    >>> disagreement("0.2.0.dev0", ["Unreleased", "0.1.0 (2026-12-01)"])
    >>> disagreement("0.1.0", ["0.1.0 (2026-12-01)"])
    """
    is_open = headings[0] == UNRELEASED
    matches = [RELEASED.fullmatch(heading) for heading in headings[is_open:]]
    if not all(matches):
        return "a heading is neither Unreleased nor a version with its day"
    releases = [Version(match[1]) for match in matches]
    if any(newer <= older for newer, older in pairwise(releases)):
        return "releases are not newest first"
    if not is_open:
        return None if str(releases[0]) == number else "the newest release is another version"
    if not re.fullmatch(r"\d+\.\d+\.\d+\.dev0", number):
        return "changes are unreleased, and the version does not end in .dev0"
    return "the version is not newer" if releases and Version(number) <= releases[0] else None


@pytest.mark.parametrize(
    ("number", "headings", "expected"),
    [("0.2.0", ["Unreleased", "0.1.0 (2026-12-01)"], "does not end in .dev0"),
     ("0.1.0.dev0", ["Unreleased", "0.1.0 (2026-12-01)"], "is not newer"),
     ("0.2.0.dev0", ["0.2.0 (2026-12-31)", "0.1.0 (2026-12-01)"], "is another version"),
     ("0.2.0", ["0.2.0"], "neither"),
     ("0.2.0", ["0.2.0 (2026-12-31)", "Unreleased"], "neither"),
     ("0.2.0", ["0.2.0 (2026-12-31)", "0.3.0 (2026-12-01)"], "not newest first")],
)  # fmt: skip
def test_what_does_not_agree_is_seen(number, headings, expected):
    assert expected in disagreement(number, headings)


def test_the_version_agrees_with_the_changelog():
    headings = headings_of((ROOT / "CHANGELOG.md").read_text(encoding="utf-8"))
    assert headings
    assert disagreement(version.version(), headings) is None


def test_in_the_tree_the_version_is_that_of_its_project_file():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert version.version() == project["version"]


@pytest.mark.parametrize("text", [None, "[tool.ruff]", '[project]\nname = "other"\nversion = "9"'])
def test_the_project_file_of_another_package_is_not_asked(text, tmp_path, monkeypatch):
    """Without our own one, the installed package is asked, and here none is."""
    monkeypatch.setattr(version, "PROJECT", tmp_path / "pyproject.toml")
    monkeypatch.setattr(version, "NAME", "gustbook-not-installed")
    if text is not None:
        version.PROJECT.write_text(text, encoding="utf-8")
    with pytest.raises(PackageNotFoundError):
        version.version()

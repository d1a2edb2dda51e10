"""The version of this code, which is written in pyproject.toml only."""

import tomllib
from importlib.metadata import version as version_of_package
from pathlib import Path

NAME = "gustbook"
PROJECT = Path(__file__).parents[1] / "pyproject.toml"


def version() -> str:
    """Return the version: that of the source tree this code is in, or of the installed package.

    The tree comes first, since another version may be installed next to it.
    """
    return _version_of_tree() or version_of_package(NAME)


def _version_of_tree() -> str | None:
    """Return the version in the pyproject.toml next to this package, or None if it has none."""
    if not PROJECT.is_file():
        return None
    project = tomllib.loads(PROJECT.read_text(encoding="utf-8")).get("project", {})
    return project.get("version") if project.get("name") == NAME else None

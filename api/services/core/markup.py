"""Set up the templates of pages in one place; values that people typed are always escaped."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined


def templates_in(*folders: Path) -> Environment:
    """Return the templates in folders; values are escaped, and a missing one is an error."""
    return Environment(
        loader=FileSystemLoader(folders),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,  # a template changes only together with its code
        trim_blocks=True,
        lstrip_blocks=True,
    )

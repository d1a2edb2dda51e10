"""Templates of pages, set up in one place: what a person typed is text in each of them."""

from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined


def templates_in(*folders: Path) -> Environment:
    """Return the templates of some folders; a value stays text, and a missing one is an error."""
    return Environment(
        loader=FileSystemLoader(folders),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,  # a template and the code that fills it belong together
        trim_blocks=True,
        lstrip_blocks=True,
    )

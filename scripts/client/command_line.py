"""What only scripts need: options, messages on standard error, exit codes, progress bars."""

import argparse
import sys
from collections.abc import Callable

from .access import service_url
from .calls import Thing
from .errors import GustbookError
from .gustbook import Gustbook

#: Exit codes of the scripts; those of errors are `GustbookError.exit_code`.
OK, REFUSED, USAGE = 0, 1, 2
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\0")
BAR_WIDTH = 24


def options_parser(description: str | None, examples: str) -> argparse.ArgumentParser:
    """Return a parser with a script's help and the option for the address of the service."""
    parser = argparse.ArgumentParser(
        description=description,
        epilog=examples,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--url", default=service_url())
    return parser


def run(url: str, work: Callable[[Gustbook], int]) -> int:
    """Do a script's work with the service; print an error in words, and return the exit code."""
    try:
        with Gustbook(url) as gustbook:
            return work(gustbook)
    except GustbookError as error:
        print(error, file=sys.stderr)
        return error.exit_code


def find_season(gustbook: Gustbook, name: str | None) -> Thing:
    """Return the season with this name or id, or else the current one; print which it is."""
    season = gustbook.season(name)
    sentence = "" if name else f". {season['sentence']}"
    print(f"season: {season['name']}{sentence}", file=sys.stderr)
    return season


def show_progress(what: str, done: int, of: int) -> None:
    """Draw a progress bar if standard error is a terminal and there is more than one step."""
    if of < 2 or not sys.stderr.isatty():
        return
    filled = BAR_WIDTH * done // of
    bar = f"[{'#' * filled}{'.' * (BAR_WIDTH - filled)}]"
    print(f"{what:14} {bar} {done}/{of}", end="\n" if done == of else "\r", file=sys.stderr)


def safe_cell(text: str) -> str:
    """Return a text that a spreadsheet does not take for a formula.

    >>> safe_cell("=1+1"), safe_cell("Larch")
    ("'=1+1", 'Larch')
    """
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text

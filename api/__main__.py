"""The command line for operators: `gustbook` once installed, `python -m api` in the source tree."""

import os
from typing import Annotated

import typer

from api.commands import backups, checking, erasing, keys, migrating, serving
from api.version import version

PARTS = (serving, migrating, backups, erasing, checking)


def assembled(*, completion: bool) -> typer.Typer:
    """Return all commands; with completion, also the options that set it up in a shell."""
    console = typer.Typer(no_args_is_help=True, add_completion=completion)
    console.callback()(about)
    for part in PARTS:
        console.add_typer(part.app)
    console.add_typer(keys.app, name="key")
    return console


def _print_version(asked: bool) -> None:
    if asked:
        typer.echo(f"gustbook {version()}")
        raise typer.Exit


def about(
    _: Annotated[
        bool,
        typer.Option(
            "--version", help="Print the version.", callback=_print_version, is_eager=True
        ),
    ] = False,
) -> None:
    """Run and look after a Gustbook service."""


app = assembled(completion=True)


def main() -> None:
    """Run a command as `gustbook`."""
    _run(app)


def _run(console: typer.Typer) -> None:
    os.umask(0o077)  # only this user may read the database and its backups
    console()


if __name__ == "__main__":
    # A shell completes the name of a command, and `python -m api` is none.
    _run(assembled(completion=False))

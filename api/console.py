"""What commands print: messages, reasons to stop, and JSON."""

import json
from typing import Annotated, Any

import typer

AsJson = Annotated[bool, typer.Option("--json", help="Print the answer as JSON, for a script.")]


def say(message: str) -> None:
    """Print a message to standard error, so that standard output has only the answer."""
    typer.echo(message, err=True)


def stop(words: str, code: int = 2) -> typer.Exit:
    """Print why a command stops; return the exception to raise."""
    say(words)
    return typer.Exit(code)


def print_json(answer: Any) -> None:
    """Print an answer as one JSON document on standard output."""
    typer.echo(json.dumps(answer, ensure_ascii=False, indent=1))

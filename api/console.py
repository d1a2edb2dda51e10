"""How a command on the console stops: in a line or two, with an exit code and no traceback."""

from collections.abc import Iterator
from contextlib import contextmanager

import typer
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DatabaseError, OperationalError

from api.settings import Settings


def stop(words: str, code: int = 2) -> typer.Exit:
    """Say why a command stops; return what to raise."""
    typer.echo(words, err=True)
    return typer.Exit(code)


@contextmanager
def reaching(settings: Settings) -> Iterator[None]:
    """Say in a line why a database cannot be reached or used."""
    try:
        yield
    except OperationalError as error:
        where = make_url(settings.database_url).render_as_string(hide_password=True)
        reason = str(error.orig).strip().splitlines()[0]
        raise stop(
            f"the database {where} cannot be used: {reason}\n"
            "Check GUSTBOOK_DATABASE_URL, and that its server runs and lets this machine in.",
            1,
        ) from error
    except DatabaseError as error:
        raise stop(
            f"the database is damaged: {error.orig}\n"
            "Stop the service and restore a backup: python -m api restore FILE --replace",
            1,
        ) from error

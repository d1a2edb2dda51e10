"""Open what a command works on, settings and a database, and report problems in a line.

Commands import this when they run: it loads the packages of the database, and shells that
complete a command should not wait for them.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.engine import make_url
from sqlalchemy.exc import DatabaseError, OperationalError

from api.console import stop
from api.db import Database, open_database
from api.embedded import file_of, is_embedded
from api.schema import is_at_head
from api.settings import Settings, WrongSettings, read_settings


@contextmanager
def reaching(settings: Settings) -> Iterator[None]:
    """Stop with a message if the database cannot be reached or used."""
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
            "Stop the service and restore a backup: gustbook restore FILE --replace",
            1,
        ) from error


def settings_or_stop() -> Settings:
    """Return the settings of the environment, or stop and name the wrong ones."""
    try:
        return read_settings()
    except WrongSettings as wrong:
        raise stop(f"wrong settings:\n{wrong}") from wrong


@contextmanager
def open_programme(settings: Settings, *, any_schema: bool = False) -> Iterator[Database]:
    """Open the programme's database for one command; it must exist and have this schema."""
    if is_embedded(settings.database_url) and not file_of(settings.database_url).exists():
        where = file_of(settings.database_url)
        raise stop(f"there is no database at {where}: is GUSTBOOK_DATABASE_URL right?")
    opened = open_database(
        settings.database_url,
        threads=settings.threads,
        busy_timeout_s=settings.busy_timeout_s,
        statement_timeout_s=settings.statement_timeout_s,
    )
    try:
        with reaching(settings):
            with opened.reading() as db:
                if not any_schema and not is_at_head(db.connection()):
                    raise stop("the schema is not the newest: run migrate")
            yield opened
    finally:
        opened.close()

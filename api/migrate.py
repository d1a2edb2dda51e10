"""Bring a database's schema to the newest version, or tell whether it is there."""

from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, NullPool, create_engine
from sqlalchemy.engine import make_url

LOCATION = Path(__file__).parent / "migrations"


def config(database_url: str) -> Config:
    """Return the configuration of migrations for a database."""
    made = Config()
    made.set_main_option("script_location", str(LOCATION))
    made.attributes["database_url"] = database_url
    return made


def is_older(database_url: str) -> bool:
    """Tell whether there is a database, and of an older schema than this code's."""
    url = make_url(database_url)
    if url.get_backend_name() == "sqlite" and not Path(url.database or "").exists():
        return False
    return _current(database_url) not in (None, head())


def upgrade(database_url: str, revision: str = "head") -> bool:
    """Bring a database to a revision, the newest by default; an embedded one is made if absent.

    Tells whether it came from an older schema to the newest one, so that what is kept of
    conclusions is to be made anew.
    """
    url = make_url(database_url)
    if url.get_backend_name() == "sqlite" and url.database:
        Path(url.database).parent.mkdir(parents=True, exist_ok=True)
    before = _current(database_url)
    command.upgrade(config(database_url), revision)
    return before is not None and before != _current(database_url) == head()


def _current(database_url: str) -> str | None:
    """Return the revision a database is at; nothing where it has no tables yet."""
    with create_engine(database_url, poolclass=NullPool).connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def downgrade(database_url: str, revision: str) -> None:
    """Take a database back to an older revision."""
    command.downgrade(config(database_url), revision)


@cache
def head() -> str | None:
    """Return the newest revision that this code knows."""
    return ScriptDirectory(str(LOCATION)).get_current_head()


def is_at_head(connection: Connection) -> bool:
    """Tell whether a database has the newest schema."""
    return MigrationContext.configure(connection).get_current_revision() == head()

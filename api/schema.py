"""Compare the schema of a database with the one of this code.

This module is separate from `migrate`, since a start with a current schema
need not load the migrations.
"""

from sqlalchemy import Connection, NullPool, inspect, text

from api.embedded import engine_for, file_of, is_embedded

#: The newest revision in `migrations/versions`.
HEAD = "0025_webhooks"


def revision_of(connection: Connection) -> str | None:
    """Return the revision of a database, or None if it has no tables yet."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    revision: str | None = connection.scalar(text("SELECT version_num FROM alembic_version"))
    return revision


def is_at_head(connection: Connection) -> bool:
    """Tell whether a database has the newest schema."""
    return revision_of(connection) == HEAD


def current(database_url: str) -> str | None:
    """Return the revision of the database at an address, or None if there is none yet."""
    if is_embedded(database_url) and not file_of(database_url).exists():
        return None
    engine = engine_for(database_url, poolclass=NullPool)
    with engine.connect() as connection:
        return revision_of(connection)


def is_older(database_url: str) -> bool:
    """Tell whether there is a database with an older schema than this code's."""
    return current(database_url) not in (None, HEAD)

"""How migrations run: one transaction, foreign keys off while tables are rebuilt, checked after."""

from alembic import context
from sqlalchemy import Connection, event, inspect, pool, text
from sqlmodel import SQLModel

import api.db  # names constraints before the first table is known
import api.models  # makes every table known
from api.embedded import engine_for

assert api.db, api.models


def run(connection: Connection) -> None:
    """Run the migrations on an open connection."""
    is_sqlite = connection.dialect.name == "sqlite"
    context.configure(
        connection=connection,
        target_metadata=SQLModel.metadata,
        render_as_batch=is_sqlite,
        transactional_ddl=True,
        compare_type=True,
    )
    with context.begin_transaction():
        before = context.get_context().get_current_revision()
        context.run_migrations()
        if before is not None and before != context.get_context().get_current_revision():
            _note_rebuilds(connection)
        if is_sqlite:
            _refuse_orphans(connection)


def _note_rebuilds(connection: Connection) -> None:
    """Note that every season is to be rebuilt, in the transaction that made it necessary."""
    if inspect(connection).has_table("rebuild_due"):
        connection.execute(text("DELETE FROM rebuild_due"))
        connection.execute(text("INSERT INTO rebuild_due (season_id) SELECT id FROM season"))


def _refuse_orphans(connection: Connection) -> None:
    orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if orphans:
        raise RuntimeError(f"foreign key check failed: {orphans[:5]}")


def run_online() -> None:
    """Connect and run."""
    engine = engine_for(context.config.attributes["database_url"], poolclass=pool.NullPool)
    if engine.dialect.name == "sqlite":

        @event.listens_for(engine, "connect")
        def settle(connection, record):  # type: ignore[no-untyped-def]
            connection.isolation_level = None
            # Off before BEGIN: inside a transaction SQLite ignores it, and a rebuilt parent
            # table would take its children's rows with it.
            connection.execute("PRAGMA foreign_keys = OFF")

        @event.listens_for(engine, "begin")
        def start(connection):  # type: ignore[no-untyped-def]
            connection.exec_driver_sql("BEGIN IMMEDIATE")

    with engine.connect() as connection:
        run(connection)


run_online()

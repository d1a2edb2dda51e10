"""Read the rows of a database without the service."""

import sqlalchemy as sa


def stored_rows(database_url):
    """Return every row of every table, as dictionaries in the order of their text."""
    engine = sa.create_engine(database_url, poolclass=sa.pool.NullPool)
    tables = sa.MetaData()
    with engine.connect() as connection:
        tables.reflect(connection)
        return {
            name: sorted((row._asdict() for row in connection.execute(sa.select(table))), key=str)
            for name, table in tables.tables.items()
        }

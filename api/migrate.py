"""Bring a database's schema to the newest version, or back."""

from pathlib import Path

from alembic import command
from alembic.config import Config

from api.embedded import file_of, is_embedded

LOCATION = Path(__file__).parent / "migrations"


def config(database_url: str) -> Config:
    """Return the configuration of migrations for a database."""
    configuration = Config()
    configuration.set_main_option("script_location", str(LOCATION))
    configuration.attributes["database_url"] = database_url
    return configuration


def upgrade(database_url: str, revision: str = "head") -> None:
    """Upgrade a database to a revision, the newest by default; create an embedded one if absent.

    After an upgrade from an older schema, its seasons are noted as due to be rebuilt.
    """
    if is_embedded(database_url):
        file_of(database_url).parent.mkdir(parents=True, exist_ok=True)
    command.upgrade(config(database_url), revision)


def downgrade(database_url: str, revision: str) -> None:
    """Take a database back to an older revision."""
    command.downgrade(config(database_url), revision)

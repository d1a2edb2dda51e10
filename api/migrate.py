"""Bring a database's schema to the newest version, or back."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy.engine import make_url

from api.schema import HEAD, current

LOCATION = Path(__file__).parent / "migrations"


def config(database_url: str) -> Config:
    """Return the configuration of migrations for a database."""
    made = Config()
    made.set_main_option("script_location", str(LOCATION))
    made.attributes["database_url"] = database_url
    return made


def upgrade(database_url: str, revision: str = "head") -> bool:
    """Bring a database to a revision, the newest by default; an embedded one is made if absent.

    Tells whether it came from an older schema to the newest one, so that what is kept of
    conclusions is to be made anew.
    """
    url = make_url(database_url)
    if url.get_backend_name() == "sqlite" and url.database:
        Path(url.database).parent.mkdir(parents=True, exist_ok=True)
    before = current(database_url)
    command.upgrade(config(database_url), revision)
    return before is not None and before != current(database_url) == HEAD


def downgrade(database_url: str, revision: str) -> None:
    """Take a database back to an older revision."""
    command.downgrade(config(database_url), revision)

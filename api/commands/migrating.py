"""The commands that change the schema of a database, and what is computed from its facts."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from api.console import AsJson, print_json, say, stop

if TYPE_CHECKING:
    from api.settings import Settings

app = typer.Typer()


@dataclass(frozen=True, slots=True)
class Migrated:
    """What a migration did: the schema that the database has now, and what else was changed."""

    schema: str | None
    is_newest: bool
    #: Name of the backup that was made before, if one was made.
    backup: str | None = None
    seasons_rebuilt: int = 0


@app.command(epilog="Examples: gustbook migrate · gustbook migrate --json")
def migrate(
    revision: Annotated[str, typer.Option(help="Revision to go to.")] = "head",
    back: Annotated[bool, typer.Option(help="Go back to an older revision.")] = False,
    backup: Annotated[bool, typer.Option(help="Make a backup first.")] = True,
    as_json: AsJson = False,
) -> None:
    """Bring the database to the newest schema, or to a named revision; a backup is made first."""
    from api.commands.opening import settings_or_stop

    settings = settings_or_stop()
    if back:
        migrated = _take_back(settings, revision, backup=backup)
    else:
        migrated = bring_up_to_date(settings, revision, backup=backup)
    say(f"schema at {migrated.schema}")
    if as_json:
        print_json(asdict(migrated))


@app.command(epilog="Example: gustbook rebuild")
def rebuild() -> None:
    """Compute all flags, trial states, results and fitted sweeps again from the facts."""
    from api.commands.opening import open_programme, settings_or_stop
    from api.services.operations import rebuilding

    with open_programme(settings_or_stop()) as database:
        say(f"{rebuilding.rebuild_all(database)} seasons rebuilt")


def bring_up_to_date(
    settings: "Settings",
    revision: str = "head",
    *,
    backup: bool = True,
    tell: Callable[[str], None] = say,
) -> Migrated:
    """Bring the schema to a revision, then rebuild the seasons that are due."""
    from api.commands.opening import reaching
    from api.schema import HEAD, current, is_older

    made = None
    with reaching(settings):
        if revision not in ("head", HEAD) or current(settings.database_url) != HEAD:
            from api.migrate import upgrade

            if backup and is_older(settings.database_url):
                made = _back_up_first(settings, tell)
            upgrade(settings.database_url, revision)
        schema = current(settings.database_url)
    if schema != HEAD:
        return Migrated(schema, is_newest=False, backup=made)
    return Migrated(schema, is_newest=True, backup=made, seasons_rebuilt=_rebuild(settings, tell))


def _rebuild(settings: "Settings", tell: Callable[[str], None]) -> int:
    """Rebuild the seasons that are due; return their number."""
    from api.commands.opening import open_programme
    from api.services.operations.due_rebuilds import has_due_seasons

    with open_programme(settings) as database:
        if not has_due_seasons(database):
            return 0
        from api.services.operations import rebuilding

        rebuilt = rebuilding.rebuild_due(database)
        tell(f"{rebuilt} seasons rebuilt")
        return rebuilt


def _take_back(settings: "Settings", revision: str, *, backup: bool) -> Migrated:
    """Take the schema back to an older revision."""
    from api.migrate import downgrade
    from api.schema import HEAD, current

    made = _back_up_first(settings, say) if backup else None
    downgrade(settings.database_url, revision)
    schema = current(settings.database_url)
    return Migrated(schema, is_newest=schema == HEAD, backup=made)


def _back_up_first(settings: "Settings", tell: Callable[[str], None]) -> str:
    """Make a backup before a change of the schema, and return its name; stop if it fails."""
    from api.services.operations import backups
    from api.services.operations.manifests import BackupFailed

    try:
        manifest = backups.make(
            settings.database_url, Path(settings.backup_folder), settings.backup_keep
        )
    except (BackupFailed, OSError) as error:
        words = f"no backup could be made, so the schema stays: {error} (or --no-backup)"
        raise stop(words, 1) from error
    tell(f"backup {manifest.file}")
    return manifest.file

"""The command line for operators."""

import json
import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from pydantic import ValidationError
from sqlmodel import Session

from api import heap
from api.console import open_programme, reaching, settings_or_stop, stop
from api.embedded import JOURNAL, SQLITE_VERSION, is_embedded
from api.errors import ApiError
from api.schema import HEAD, current, is_older
from api.settings import Settings

#: On SIGTERM open requests are finished within this time. [s]
STOP_WITHIN_S = 8
#: How long a thread may calculate before Python switches to another: a season's report takes
#: seconds, and a small request needs about twenty switches. [s]
TURN_S = 0.0005
#: Open connections at once; more are answered with 503 at no cost.
MOST_CONNECTIONS = 2000

app = typer.Typer(
    help="Run and look after a Gustbook service.", no_args_is_help=True, add_completion=False
)
key_app = typer.Typer(help="Make, list and revoke access keys.", no_args_is_help=True)
app.add_typer(key_app, name="key")


@app.command(epilog="Example: python -m api serve --host 127.0.0.1 --port 8000")
def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on.")] = 8000,
) -> None:
    """Run the service; an embedded database is brought to the newest schema first."""
    heap.configure()
    # numpy reads this when it is imported. Our matrices are small: more threads bring no speed,
    # and waste another core with waiting for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    import uvicorn

    from api import logs
    from api.main import create_app
    from api.patience import PatientProtocol

    settings = settings_or_stop()
    logs.configure(settings.log_level)
    sys.setswitchinterval(TURN_S)
    if is_embedded(settings.database_url):
        _upgrade(settings, tell=logs.say)
        logs.say("embedded database", sqlite=SQLITE_VERSION, journal=JOURNAL.lower())
    application = create_app(settings)
    heap.freeze()
    uvicorn.run(
        application,
        http=PatientProtocol,
        log_config=None,
        host=host,
        port=port,
        access_log=False,
        server_header=False,
        proxy_headers=True,
        forwarded_allow_ips=settings.trusted_proxies,
        timeout_graceful_shutdown=STOP_WITHIN_S,
        limit_concurrency=MOST_CONNECTIONS,
    )


@app.command(epilog="Example: python -m api migrate")
def migrate(
    revision: Annotated[str, typer.Option(help="Revision to go to.")] = "head",
    back: Annotated[bool, typer.Option(help="Go back to an older revision.")] = False,
    backup: Annotated[bool, typer.Option(help="Make a backup first.")] = True,
) -> None:
    """Bring the database to the newest schema, or to a named revision; a backup is made first."""
    from api.migrate import downgrade

    settings = settings_or_stop()
    if back:
        if backup:
            _back_up_first(settings)
        downgrade(settings.database_url, revision)
    else:
        _upgrade(settings, revision, backup=backup)
    typer.echo(f"schema at {revision}", err=True)


@app.command(epilog="Example: python -m api backup /mnt/other-disk/gustbook --keep 30")
def backup(
    folder: Annotated[
        Path | None, typer.Argument(help="Where to; left out, GUSTBOOK_BACKUP_FOLDER.")
    ] = None,
    keep: Annotated[
        int | None, typer.Option(min=1, help="How many are kept; left out, GUSTBOOK_BACKUP_KEEP.")
    ] = None,
) -> None:
    """Make a backup while the service runs, verify it, and delete all but the newest ones."""
    from api.services.operations import backups
    from api.services.operations.manifests import BackupFailed

    settings = settings_or_stop()
    where = folder or Path(settings.backup_folder)
    try:
        with reaching(settings):
            manifest = backups.make(settings.database_url, where, keep or settings.backup_keep)
    except (BackupFailed, OSError) as error:
        raise stop(f"no backup was made: {error}", 1) from error
    rows = sum(manifest.rows.values())
    typer.echo(f"{where / manifest.file}")
    typer.echo(
        f"{manifest.size_bytes / 1e6:.1f} MB, {rows} rows, schema {manifest.schema}, "
        f"{len(manifest.digests)} seasons' reports noted",
        err=True,
    )


@app.command(
    epilog="Examples: python -m api restore var/backups/gustbook-….db --verify · "
    "python -m api restore var/backups/gustbook-….db --replace"
)
def restore(
    file: Annotated[Path, typer.Argument(help="The backup; its .json stands beside it.")],
    verify: Annotated[
        bool, typer.Option("--verify", help="Only try it, in a scratch place, and compare.")
    ] = False,
    into: Annotated[
        str | None, typer.Option(help="Another database than the setting's; it must be empty.")
    ] = None,
    replace: Annotated[
        bool,
        typer.Option("--replace", help="Move the old database and all its files aside first."),
    ] = False,
) -> None:
    """Restore a backup to a place without a database, and compare it with its manifest.

    Stop the service first. If this is interrupted, run it again.
    """
    import tempfile

    from api.services.operations import restoring
    from api.services.operations.manifests import BackupFailed

    settings = settings_or_stop()
    try:
        with tempfile.TemporaryDirectory() as scratch:
            target = into or settings.database_url
            if verify and into is None:
                if file.suffix != ".db":
                    raise stop("name an empty database to try it in: --into postgresql://…")
                target = f"sqlite:///{scratch}/verify.db"
            restored = restoring.restore(file, target, replace=replace)
    except (BackupFailed, OSError) as error:
        raise stop(f"not restored: {error}", 1) from error
    words = "holds" if verify else "is restored and holds"
    typer.echo(f"{file.name} {words}: {sum(restored.rows.values())} rows, reports equal", err=True)


@key_app.command("create", epilog='Example: python -m api key create --role lead --label "Lead"')
def key_create(
    role: Annotated[str, typer.Option(help="lead, coach or reader.")],
    label: Annotated[str, typer.Option(help="What the key is for.")],
    organisation: Annotated[
        list[str] | None, typer.Option(help="Organisation id it reaches; may be repeated.")
    ] = None,
    expires: Annotated[
        str | None, typer.Option(help="When it ends, such as 2026-07-01T00:00:00+00:00.")
    ] = None,
) -> None:
    """Make a key and print only the key; it is not shown again."""
    from api.models.access.keys import KeyCreate
    from api.models.core.validation import invalid
    from api.services.access import keys

    settings = settings_or_stop()
    if is_embedded(settings.database_url):
        _upgrade(settings)
    try:
        asked = KeyCreate.model_validate(
            {
                "role": role,
                "label": label,
                "organisation_ids": organisation or [],
                "expires_at": expires,
            }
        )
        with open_programme(settings) as database, database.unit_of_work() as db:
            typer.echo(keys.create(db, keys.CONSOLE, asked).key)
    except ValidationError as error:
        raise stop(str(invalid(error, {}))) from error
    except ApiError as error:
        raise stop(str(error)) from error


@key_app.command("list", epilog="Example: python -m api key list")
def key_list() -> None:
    """List keys without their secrets."""
    from sqlmodel import select

    from api.models.access.keys import AccessKey

    now = datetime.now(UTC)
    with open_programme(settings_or_stop()) as database, database.reading() as db:
        for row in db.scalars(select(AccessKey)):
            ended = row.revoked_at or (row.expires_at and row.expires_at <= now)
            typer.echo(f"{row.id}  {row.role:6}  {'ended' if ended else 'valid'}  {row.label}")


@key_app.command("revoke", epilog="Example: python -m api key revoke key_01KC…")
def key_revoke(key_id: Annotated[str, typer.Argument(help="The id, as listed.")]) -> None:
    """Revoke a key, from the next request on."""
    from api.services.access import keys

    try:
        with open_programme(settings_or_stop()) as database, database.unit_of_work() as db:
            keys.revoke(db, key_id)
    except ApiError as error:
        raise stop(str(error)) from error
    typer.echo(f"{key_id} is revoked", err=True)


@app.command(epilog="Example: python -m api openapi > openapi.json")
def openapi() -> None:
    """Print the OpenAPI document."""
    from api.main import create_app

    json.dump(create_app(settings_or_stop()).openapi(), sys.stdout, indent=1, ensure_ascii=False)
    sys.stdout.write("\n")


@app.command(epilog="Example: python -m api rebuild")
def rebuild() -> None:
    """Compute all flags, trial states, results and fitted sweeps again from the facts."""
    from api.services.operations import rebuilding

    with open_programme(settings_or_stop()) as database:
        typer.echo(f"{rebuilding.rebuild_all(database)} seasons rebuilt", err=True)


def _say(words: str) -> None:
    typer.echo(words, err=True)


def _back_up_first(settings: Settings, tell: Callable[[str], None] = _say) -> None:
    """Make a backup before a change of the schema; stop if the backup fails."""
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


def _upgrade(
    settings: Settings,
    revision: str = "head",
    *,
    backup: bool = True,
    tell: Callable[[str], None] = _say,
) -> None:
    """Bring the schema to a revision, then rebuild the seasons that are due."""
    from api.services.operations.due_rebuilds import has_due_seasons

    with reaching(settings):
        if revision not in ("head", HEAD) or current(settings.database_url) != HEAD:
            from api.migrate import upgrade

            if backup and is_older(settings.database_url):
                _back_up_first(settings, tell)
            upgrade(settings.database_url, revision)
        if current(settings.database_url) != HEAD:
            return
    with open_programme(settings) as database:
        if has_due_seasons(database):
            from api.services.operations import rebuilding

            tell(f"{rebuilding.rebuild_due(database)} seasons rebuilt")


@app.command(
    epilog="Examples: python -m api purge · python -m api purge --season sea_01KC… --yes · "
    "python -m api purge --organisation org_01KC… --yes"
)
def purge(
    season: Annotated[str | None, typer.Option(help="Id of a season to erase.")] = None,
    organisation: Annotated[
        str | None, typer.Option(help="Id of a school to erase, over all seasons.")
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run/--yes", help="Tell what would go, or erase it for good.")
    ] = True,
) -> None:
    """Erase for good: a season, a school, or, without either, all seasons kept long enough."""
    from api.services.operations import erasing, erasing_schools

    settings = settings_or_stop()
    with open_programme(settings) as database:
        try:
            with database.unit_of_work() as db:
                if organisation:
                    counts = {organisation: erasing_schools.erase_organisation(db, organisation)}
                else:
                    due = [season] if season else _due(db, settings)
                    counts = {each: erasing.erase_season(db, each) for each in due}
                    counts["ended"] = erasing.tidy(db, datetime.now(UTC))
                if dry_run:
                    db.rollback()
        except ApiError as error:
            raise stop(str(error)) from error
        if not dry_run:
            database.compact()
    _tell_purged(settings, counts, "would go" if dry_run else "went")


def _due(db: Session, settings: Settings) -> list[str]:
    """Return the ids of seasons that are due to be erased."""
    from api.services.operations import erasing

    today = datetime.now(UTC).date()
    return [row.id for row in erasing.due_seasons(db, today, settings.retention_days)]


def _tell_purged(settings: Settings, counts: dict[str, dict[str, int]], verb: str) -> None:
    """Print what is erased, and which backups still have it."""
    for what, rows in counts.items():
        counted = ", ".join(f"{count} {name}" for name, count in rows.items() if count)
        typer.echo(f"{what}  {verb}: {counted or 'nothing'}")
    if verb == "would go":
        typer.echo("nothing was changed: say --yes to erase it for good", err=True)
    else:
        typer.echo(
            f"backups made before still hold it: they stand in {settings.backup_folder}, and go as "
            f"newer ones are made ({settings.backup_keep} are kept)",
            err=True,
        )


@app.command(epilog="Example: python -m api checks > analysis/CHECKS.md")
def checks() -> None:
    """Print all data checks as a page: what each looks at, what it does, what it says."""
    from api.services.operations.checks_page import checks_page

    typer.echo(checks_page(), nl=False)


@app.command(epilog="Example: python -m api doctor --audit")
def doctor(
    seals: Annotated[
        bool, typer.Option("--audit", help="Also verify the seals of the record.")
    ] = False,
) -> None:
    """Tell whether database, schema, journal, disk, clock, backup and record are in order."""
    from api.services.operations import doctors

    settings = settings_or_stop()
    with open_programme(settings, any_schema=True) as database, database.reading() as db:
        diagnosis = doctors.diagnose(db, settings, datetime.now(UTC), seals=seals)
    for name, words in diagnosis.lines:
        typer.echo(f"{name:10} {words}")
    if not diagnosis.is_well:
        raise typer.Exit(1)


if __name__ == "__main__":
    os.umask(0o077)  # only this user may read the database and its backups
    app()

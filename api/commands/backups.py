"""The commands that make backups, and restore them."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from api.console import AsJson, print_json, say, stop

app = typer.Typer()


@app.command(epilog="Example: gustbook backup /mnt/other-disk/gustbook --keep 30")
def backup(
    folder: Annotated[
        Path | None, typer.Argument(help="Where to; left out, GUSTBOOK_BACKUP_FOLDER.")
    ] = None,
    keep: Annotated[
        int | None, typer.Option(min=1, help="How many are kept; left out, GUSTBOOK_BACKUP_KEEP.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make a backup while the service runs, verify it, and delete all but the newest ones.

    Its path is printed; with --json, its manifest as well.
    """
    from api.commands.opening import reaching, settings_or_stop
    from api.services.operations import backups
    from api.services.operations.manifests import BackupFailed

    settings = settings_or_stop()
    where = folder or Path(settings.backup_folder)
    try:
        with reaching(settings):
            manifest = backups.make(settings.database_url, where, keep or settings.backup_keep)
    except (BackupFailed, OSError) as error:
        raise stop(f"no backup was made: {error}", 1) from error
    path = where / manifest.file
    if as_json:
        print_json({"path": str(path), **asdict(manifest)})
    else:
        typer.echo(path)
    say(
        f"{manifest.size_bytes / 1e6:.1f} MB, {sum(manifest.rows.values())} rows, "
        f"schema {manifest.schema}, {len(manifest.digests)} seasons' reports noted"
    )


@app.command(
    epilog="Examples: gustbook restore var/backups/gustbook-….db --verify · "
    "gustbook restore var/backups/gustbook-….db --replace"
)
def restore(
    file: Annotated[Path, typer.Argument(help="The backup; its .json is next to it.")],
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

    from api.commands.opening import settings_or_stop
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
    say(f"{file.name} {words}: {sum(restored.rows.values())} rows, reports equal")

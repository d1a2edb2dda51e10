"""The command that erases a season or a school for good."""

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated

import typer

from api.console import say, stop

if TYPE_CHECKING:
    from sqlmodel import Session

    from api.settings import Settings

app = typer.Typer()


@app.command(
    epilog="Examples: gustbook purge · gustbook purge --season sea_01KC… --yes · "
    "gustbook purge --organisation org_01KC… --yes"
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
    from api.commands.opening import open_programme, settings_or_stop
    from api.errors import ApiError
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


def _due(db: "Session", settings: "Settings") -> list[str]:
    """Return the ids of seasons that are due to be erased."""
    from api.services.operations import erasing

    today = datetime.now(UTC).date()
    return [row.id for row in erasing.due_seasons(db, today, settings.retention_days)]


def _tell_purged(settings: "Settings", counts: dict[str, dict[str, int]], verb: str) -> None:
    """Print what is erased, and which backups still have it."""
    for what, rows in counts.items():
        counted = ", ".join(f"{count} {name}" for name, count in rows.items() if count)
        typer.echo(f"{what}  {verb}: {counted or 'nothing'}")
    if verb == "would go":
        say("nothing was changed: say --yes to erase it for good")
    else:
        say(
            f"backups made before still hold it: they are in {settings.backup_folder}, and go as "
            f"newer ones are made ({settings.backup_keep} are kept)"
        )

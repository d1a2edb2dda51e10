"""The commands that tell whether all is in order, and by which rules."""

from datetime import UTC, datetime
from typing import Annotated

import typer

from api.console import AsJson, print_json
from api.version import version

app = typer.Typer()


@app.command(epilog="Examples: gustbook doctor --audit · gustbook doctor --json")
def doctor(
    seals: Annotated[
        bool, typer.Option("--audit", help="Also verify the seals of the record.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Tell whether database, schema, journal, disk, clock, backup and record are in order.

    Ends with exit code 1 if something is not.
    """
    from api.commands.opening import open_programme, settings_or_stop
    from api.services.operations import doctors

    settings = settings_or_stop()
    with open_programme(settings, any_schema=True) as database, database.reading() as db:
        diagnosis = doctors.diagnose(db, settings, datetime.now(UTC), seals=seals)
    if as_json:
        lines = [{"name": name, "text": words} for name, words in diagnosis.lines]
        print_json({"version": version(), "is_well": diagnosis.is_well, "lines": lines})
    else:
        for name, words in [("version", version()), *diagnosis.lines]:
            typer.echo(f"{name:10} {words}")
    if not diagnosis.is_well:
        raise typer.Exit(1)


@app.command(epilog="Example: gustbook checks > analysis/CHECKS.md")
def checks() -> None:
    """Print all data checks as a page: what each looks at, what it does, what it says."""
    from api.services.operations.checks_page import checks_page

    typer.echo(checks_page(), nl=False)

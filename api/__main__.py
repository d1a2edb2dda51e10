"""The command line: what an operator does that is not HTTP."""

import json
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer
from pydantic import ValidationError

from api.db import Database, is_embedded, open_database
from api.errors import ApiError
from api.settings import Settings, WrongSettings, read_settings

app = typer.Typer(
    help="Run and look after a Gustbook service.", no_args_is_help=True, add_completion=False
)
key_app = typer.Typer(help="Make, list and revoke access keys.", no_args_is_help=True)
app.add_typer(key_app, name="key")


def _settings() -> Settings:
    try:
        return read_settings()
    except WrongSettings as wrong:
        raise _stop(f"wrong settings:\n{wrong}") from wrong


def _stop(words: str, code: int = 2) -> typer.Exit:
    typer.echo(words, err=True)
    return typer.Exit(code)


def _open(settings: Settings) -> Database:
    return open_database(
        settings.database_url,
        threads=settings.worker_threads,
        busy_timeout_s=settings.busy_timeout_s,
    )


@app.command(epilog="Example: python -m api serve --host 127.0.0.1 --port 8000")
def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on.")] = 8000,
) -> None:
    """Run the service; an embedded database is brought to the newest schema first."""
    import uvicorn

    from api.main import create_app

    settings = _settings()
    if is_embedded(settings.database_url):
        _upgrade(settings)
    uvicorn.run(create_app(settings), host=host, port=port, access_log=False, server_header=False)


@app.command(epilog="Example: python -m api migrate")
def migrate(
    revision: Annotated[str, typer.Option(help="Revision to go to.")] = "head",
    back: Annotated[bool, typer.Option(help="Go back to an older revision.")] = False,
) -> None:
    """Bring the database to the newest schema, or to a named revision."""
    from api.migrate import downgrade

    settings = _settings()
    if back:
        downgrade(settings.database_url, revision)
    else:
        _upgrade(settings, revision)
    typer.echo(f"schema at {revision}", err=True)


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
    """Make a key and print it alone; it is not shown again."""
    from api.models.keys import KeyCreate
    from api.models.validation import invalid
    from api.services import keys

    settings = _settings()
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
        with _open(settings).unit_of_work() as db:
            typer.echo(keys.create(db, keys.CONSOLE, asked).key)
    except ValidationError as error:
        raise _stop(str(invalid(error, {}))) from error
    except ApiError as error:
        raise _stop(str(error)) from error


@key_app.command("list", epilog="Example: python -m api key list")
def key_list() -> None:
    """List keys without their secrets."""
    from sqlmodel import select

    from api.models.keys import AccessKey

    now = datetime.now(UTC)
    with _open(_settings()).reading() as db:
        for row in db.scalars(select(AccessKey)):
            ended = row.revoked_at or (row.expires_at and row.expires_at <= now)
            typer.echo(f"{row.id}  {row.role:6}  {'ended' if ended else 'valid'}  {row.label}")


@key_app.command("revoke", epilog="Example: python -m api key revoke key_01KC…")
def key_revoke(key_id: Annotated[str, typer.Argument(help="The id, as listed.")]) -> None:
    """End a key; it holds from the next request on."""
    from api.services import keys

    try:
        with _open(_settings()).unit_of_work() as db:
            keys.revoke(db, key_id)
    except ApiError as error:
        raise _stop(str(error)) from error
    typer.echo(f"{key_id} is revoked", err=True)


@app.command(epilog="Example: python -m api openapi > openapi.json")
def openapi() -> None:
    """Print the OpenAPI document."""
    from api.main import create_app

    json.dump(create_app(_settings()).openapi(), sys.stdout, indent=1, ensure_ascii=False)
    sys.stdout.write("\n")


@app.command(epilog="Example: python -m api rebuild")
def rebuild() -> None:
    """Find all flags, trial states and fitted sweeps again from the facts."""
    typer.echo(f"{_rebuild(_settings())} seasons rebuilt", err=True)


def _upgrade(settings: Settings, revision: str = "head") -> None:
    """Bring the schema to a revision; where it was older, make what follows from facts anew."""
    from api.migrate import upgrade

    if upgrade(settings.database_url, revision):
        typer.echo(f"{_rebuild(settings)} seasons rebuilt", err=True)


def _rebuild(settings: Settings) -> int:
    """Make anew what is kept of each season's conclusions; return how many seasons there are."""
    from sqlmodel import select

    from api.models.seasons import Season
    from api.services import flags, revisions

    with _open(settings).unit_of_work() as db:
        seasons = list(db.scalars(select(Season.id)))
        for season_id in seasons:
            flags.recheck_season(db, season_id)
        revisions.raise_all(db)
    return len(seasons)


@app.command(epilog="Example: python -m api checks > analysis/CHECKS.md")
def checks() -> None:
    """Print all data checks as a page: what each looks at, what it does, what it says."""
    from analysis.rules import RULES, rules_page

    typer.echo(rules_page(RULES.values()), nl=False)


@app.command(epilog="Example: python -m api doctor --audit")
def doctor(
    audit: Annotated[
        bool, typer.Option("--audit", help="Also verify the seals of the record.")
    ] = False,
) -> None:
    """Tell whether database, schema, journal and disk are in order."""
    import shutil
    import sqlite3

    from sqlalchemy.engine import make_url

    from api.db import journal_mode
    from api.migrate import is_at_head

    settings = _settings()
    url = make_url(settings.database_url)
    with _open(settings).reading() as db:
        at_head = is_at_head(db.connection())
    typer.echo(f"database   {url.render_as_string(hide_password=True)}")
    typer.echo(f"schema     {'newest' if at_head else 'not the newest: run migrate'}")
    if is_embedded(settings.database_url):
        version = sqlite3.sqlite_version
        typer.echo(f"sqlite     {version}, journal {journal_mode(sqlite3.sqlite_version_info)}")
        free = shutil.disk_usage(Path(url.database or ".").parent).free
        typer.echo(f"disk free  {free / 1e9:.1f} GB")
    broken = _broken_seals(settings) if audit and at_head else []
    if audit:
        typer.echo(f"record     {'seals hold' if not broken else 'BROKEN'}")
        for words in broken:
            typer.echo(f"           {words}")
    if broken or not at_head:
        raise typer.Exit(1)


def _broken_seals(settings: Settings) -> list[str]:
    from api.services import audit

    with _open(settings).reading() as db:
        return list(audit.broken_seals(db))


if __name__ == "__main__":
    app()

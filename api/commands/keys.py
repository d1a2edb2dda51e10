"""The commands that make, list and revoke access keys."""

from datetime import UTC, datetime
from typing import Annotated

import typer

from api.console import AsJson, print_json, say, stop

app = typer.Typer(help="Make, list and revoke access keys.", no_args_is_help=True)


@app.command("create", epilog='Example: gustbook key create --role lead --label "Lead"')
def create(
    role: Annotated[str, typer.Option(help="lead, coach or reader.")],
    label: Annotated[str, typer.Option(help="What the key is for.")],
    organisation: Annotated[
        list[str] | None, typer.Option(help="Organisation id it reaches; may be repeated.")
    ] = None,
    expires: Annotated[
        str | None, typer.Option(help="When it ends, such as 2026-07-01T00:00:00+00:00.")
    ] = None,
    sign_in_email: Annotated[
        str | None,
        typer.Option(help="Address of an adult's school account, to sign in to pages with."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make a key and print only the key; it is not shown again.

    With --json its id, role and reach are printed as well.
    """
    from pydantic import ValidationError

    from api.commands.migrating import bring_up_to_date
    from api.commands.opening import open_programme, settings_or_stop
    from api.embedded import is_embedded
    from api.errors import ApiError
    from api.models.access.keys import KeyCreate
    from api.models.core.validation import invalid
    from api.services.access import keys

    settings = settings_or_stop()
    if is_embedded(settings.database_url):
        bring_up_to_date(settings)
    try:
        asked = KeyCreate.model_validate(
            {
                "role": role,
                "label": label,
                "organisation_ids": organisation or [],
                "expires_at": expires,
                "sign_in_email": sign_in_email,
            }
        )
        with open_programme(settings) as database, database.unit_of_work() as db:
            made = keys.create(db, keys.CONSOLE, asked)
    except ValidationError as error:
        raise stop(str(invalid(error, {}))) from error
    except ApiError as error:
        raise stop(str(error)) from error
    if as_json:
        print_json(made.model_dump(mode="json"))
    else:
        typer.echo(made.key)


@app.command("list", epilog="Examples: gustbook key list · gustbook key list --json")
def list_all(as_json: AsJson = False) -> None:
    """List keys without their secrets."""
    from api.commands.opening import open_programme, settings_or_stop
    from api.services.access import keys

    now = datetime.now(UTC)
    with open_programme(settings_or_stop()) as database, database.reading() as db:
        stored = keys.all_of(db)
    if as_json:
        print_json([key.model_dump(mode="json") for key in stored])
        return
    for key in stored:
        ended = key.revoked_at or (key.expires_at and key.expires_at <= now)
        typer.echo(f"{key.id}  {key.role:6}  {'ended' if ended else 'valid'}  {key.label}")


@app.command("revoke", epilog="Example: gustbook key revoke key_01KC…")
def revoke(key_id: Annotated[str, typer.Argument(help="The id, as listed.")]) -> None:
    """Revoke a key, from the next request on."""
    from api.commands.opening import open_programme, settings_or_stop
    from api.errors import ApiError
    from api.services.access import keys

    try:
        with open_programme(settings_or_stop()) as database, database.unit_of_work() as db:
            keys.revoke(db, key_id)
    except ApiError as error:
        raise stop(str(error)) from error
    say(f"{key_id} is revoked")

"""Pages of share links and access keys."""

from functools import partial
from typing import Annotated, Any
from urllib.parse import urlsplit

import segno
from fastapi import APIRouter, Path
from sqlmodel import Session
from starlette.responses import Response

from api.deps import database, limits
from api.errors import ApiError, NotPermitted
from api.messages import say
from api.models.access.keys import KeyCreate, KeyQuery, KeyRead, KeyUpdate
from api.models.registry.events import Event
from api.models.registry.seasons import Season
from api.models.registry.teams import Team
from api.models.reporting.shares import ShareCreate, ShareQuery
from api.models.webhooks.webhooks import WebhookQuery
from api.services.access import keys, web_sessions
from api.services.core import cautions, pages, resources
from api.services.core.scope import Caller
from api.services.registry import pickers
from api.services.registry.builds import newest_of_team
from api.services.reporting import shares
from api.services.webhooks import webhooks
from api.web import forms, rendering
from api.web.forms import Field, Filled, labelled
from api.web.submitting import Unready, sound, tried
from api.web.visitors import Posted, PostedByLead, Visit, Visited, site

router = APIRouter()
SHARE = (
    Field("team_id", "hidden"),
    Field("season_id", "hidden"),
    Field("event_id", "hidden"),
    Field("calendar", "hidden"),
    Field("days", "whole", required=True),
)
ABOUT = ("team_id", "season_id", "event_id", "calendar")
ROLES = labelled("role", "coach", "reader", "lead")
KEY = (
    Field("label", "text", required=True),
    Field("role", "choice", required=True, choices=ROLES),
    Field("organisation_id", "choice"),
    Field("expires_on", "day"),
)
SIGN_IN = (Field("sign_in_email", "email"),)


def qr_of(address: str) -> str:
    """Return the QR code of an address as SVG, black on white in any theme.

    >>> "viewBox" in qr_of("http://127.0.0.1:8000/today")
    True
    """
    code = segno.make(address, error="m", micro=False)
    return str(code.svg_inline(border=3, light="#fff", dark="#000", omitsize=True))


# --- share links ----------------------------------------------------------------------------


@router.get("/shares")
def shares_page(visited: Visited) -> Response:
    """List share links, with forms to make and to revoke one."""
    asked = visited.request.query_params
    typed = {name: asked.get(name, "") for name in ABOUT}
    days = "366" if typed["calendar"] else "30"
    return _shares(visited, Filled(SHARE, typed | {"days": days}))


def _shares(visited: Visit, filled: Filled, new_share: dict[str, Any] | None = None) -> Response:
    with visited.reading() as db:
        about = _about(db, visited.caller, filled)
        page = partial(shares.page, db, visited.caller)
        rows = pages.every(page, ShareQuery())
        season_id = visited.season_id
    return rendering.show(
        "shares.html", visited, status=422 if filled.is_wrong else 200, filled=filled, about=about,
        shares=rows[::-1], made=new_share, season_id=season_id,
    )  # fmt: skip


def _about(db: Session, caller: Caller, filled: Filled) -> str:
    """Return the name of what a new link is about, or an empty text."""
    if filled.typed.get("team_id"):
        return resources.get_row(db, caller, Team, filled.typed["team_id"]).name
    if filled.typed.get("event_id"):
        return resources.get_row(db, caller, Event, filled.typed["event_id"]).name
    if filled.typed.get("season_id"):
        name = resources.get_row(db, caller, Season, filled.typed["season_id"]).name
        return say("calendar.about", name=name) if filled.typed.get("calendar") else name
    return ""


@router.post("/shares")
def make_share(posted: Posted) -> Response:
    """Make a link and show it once, with a QR code for phones."""
    filled, values = forms.read(SHARE, posted.typed())
    values["calendar"] = bool(values.get("calendar"))
    try:
        asked = sound(ShareCreate, filled, values)
        limits(posted.visit.request).take_today("links", posted.visit.caller.key_id)
        with database(posted.visit.request).unit_of_work() as db:
            new_share = shares.create(db, posted.visit.caller, asked)
    except Unready:
        return _shares(posted.visit, filled)
    address = f"{site(posted.visit.request)}/shared/{new_share.token}"
    shown_share = {"address": address, "qr": qr_of(address), "share": new_share}
    return _shares(posted.visit, Filled(SHARE, {"days": "30"}), shown_share)


@router.post("/shares/{share_id}/revoke")
def revoke_share(share_id: Annotated[str, Path()], posted: Posted) -> Response:
    """Revoke a link."""

    def work(db: Session, caller: Caller) -> str:
        shares.revoke(db, caller, share_id)
        return "/shares"

    return posted.once(work)


# --- the sheet at the bench -----------------------------------------------------------------


@router.get("/teams/{team_id}/sheet")
def trial_sheet(team_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a sheet to print and fill in at the bench, with a code that opens the form."""
    with visited.reading() as db:
        team = resources.get_row(db, visited.caller, Team, team_id)
        build = newest_of_team(db, visited.caller, team.id)
    path = f"/trials/new?build_id={build.id}" if build else f"/teams/{team.id}"
    address = f"{site(visited.request)}{path}"
    return rendering.show(
        "sheet.html", visited, team=team, build=build, qr=qr_of(address), address=address,
        cautions=cautions.event(), lines=range(1, 9),
    )  # fmt: skip


# --- keys -----------------------------------------------------------------------------------


@router.get("/keys")
def keys_page(visited: Visited) -> Response:
    """List keys and webhooks, with forms to make and to revoke one; for leads."""
    return _keys(visited, Filled(_key_fields(visited), {"role": "coach"}))


def _key_fields(visit: Visit) -> tuple[Field, ...]:
    """Return the fields of a new key, with an address if people can sign in with one."""
    return (*KEY, *SIGN_IN) if _has_school_account(visit) else KEY


def _has_school_account(visit: Visit) -> bool:
    return bool(visit.request.app.state.settings.sign_in_issuer)


def _keys(visited: Visit, filled: Filled, new_key: Any = None) -> Response:
    if not visited.is_lead:
        raise NotPermitted(say("refused.needs_lead"))
    with visited.reading() as db:
        rows = pages.every(partial(keys.page, db, visited.caller), KeyQuery())
        schools = pickers.organisations(db, visited.caller)
        hooks = pages.every(partial(webhooks.page, db, visited.caller), WebhookQuery())
    filled.fields = forms.offering(filled.fields, {"organisation_id": schools})
    return rendering.show(
        "keys.html", visited, status=422 if filled.is_wrong else 200, filled=filled,
        keys=rows[::-1], schools=dict(schools), made=new_key, now=visited.now,
        has_school_account=_has_school_account(visited),
        webhooks=[(row, urlsplit(row.url).netloc) for row in hooks],
    )  # fmt: skip


@router.post("/keys")
def make_key(posted: PostedByLead) -> Response:
    """Make a key and show its secret once."""
    fields = _key_fields(posted.visit)
    filled, values = forms.read(fields, posted.typed())
    school, day = values.pop("organisation_id", None), values.pop("expires_on", None)
    asked = values | {"organisation_ids": [school] if school else []}
    if day:
        asked["expires_at"] = f"{day}T23:59:59Z"
    filled.places = {"/expires_at": "expires_on", "/organisation_ids": "organisation_id"}
    try:
        shape = sound(KeyCreate, filled, asked)
        limits(posted.visit.request).take_today("keys", posted.visit.caller.key_id)
        with database(posted.visit.request).unit_of_work() as db:
            new_key = keys.create(db, posted.visit.caller, shape)
    except Unready:
        return _keys(posted.visit, filled)
    except ApiError as refusal:
        filled.blame(refusal)
        return _keys(posted.visit, filled)
    return _keys(posted.visit, Filled(fields, {"role": "coach"}), new_key)


@router.get("/keys/{key_id}/email")
def key_email(key_id: Annotated[str, Path()], visited: Visited) -> Response:
    """Show a form to change or remove the sign-in address of a key; for leads."""
    if not visited.is_lead:
        raise NotPermitted(say("refused.needs_lead"))
    with visited.reading() as db:
        stored_key = keys.get(db, visited.caller, key_id)
    typed = {"sign_in_email": stored_key.sign_in_email or ""}
    return _key_email(visited, stored_key, Filled(SIGN_IN, typed))


def _key_email(visited: Visit, stored_key: KeyRead, filled: Filled) -> Response:
    status = 422 if filled.is_wrong else 200
    return rendering.show("key_email.html", visited, status=status, key=stored_key, filled=filled)


@router.post("/keys/{key_id}/email")
def change_key_email(key_id: Annotated[str, Path()], posted: PostedByLead) -> Response:
    """Change or remove the sign-in address of a key."""
    filled, values = forms.read(SIGN_IN, posted.typed())
    asked = {"sign_in_email": values.get("sign_in_email")}
    with posted.visit.reading() as db:
        stored_key = keys.get(db, posted.visit.caller, key_id)

    def work(db: Session, caller: Caller) -> str:
        keys.change(db, caller, key_id, sound(KeyUpdate, filled, asked), stored_key.version)
        return "/keys"

    return tried(posted, filled, work) or _key_email(posted.visit, stored_key, filled)


@router.post("/keys/{key_id}/revoke")
def revoke_key(key_id: Annotated[str, Path()], posted: PostedByLead) -> Response:
    """Revoke a key, and end every browser session that began with it."""

    def work(db: Session, caller: Caller) -> str:
        stored_key = keys.get(db, caller, key_id)
        keys.change(db, caller, key_id, KeyUpdate(revoked=True), stored_key.version)
        web_sessions.end_all(db, key_id)
        return "/keys"

    return posted.once(work)


@router.post("/webhooks/{webhook_id}/remove")
def drop_webhook(webhook_id: Annotated[str, Path()], posted: PostedByLead) -> Response:
    """Remove a webhook, with all that it has not sent yet."""

    def work(db: Session, caller: Caller) -> str:
        webhooks.remove(db, caller, webhook_id)
        return "/keys"

    return posted.once(work)

"""Access to every page and form, for every role, generated from the routes."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import select

from api.models.access.web_sessions import WebSession
from api.models.core.ids import new_id
from api.models.reporting.shares import Share, ShareCreate
from api.services.core.scope import Caller
from api.services.reporting import shares
from api.web.visitors import COOKIE
from tests.support.databases import make_lead_key
from tests.support.operations import assert_tells_nothing_of, ids_of, nowhere
from tests.support.page_routes import ROUTERS, ROUTES
from tests.support.page_table import OPEN, TABLE

GUARDED = [name for name in ROUTES if name not in OPEN]
CSV = (
    "team,build,bench,session_started_at,client_ref,load_ohm,load_connected,voltage_v,"
    "adult_present\n"
)


def test_every_page_has_a_row():
    assert set(TABLE) == set(GUARDED)
    assert len(ROUTES) == sum(len(r.methods) for router in ROUTERS for r in router.routes)


@pytest.fixture
def things(world, app_client):
    """Return the ids of both schools as addresses of pages name them, with a link each."""
    ids = {}
    for name in ("larch", "birch"):
        school = getattr(world, name)
        with app_client.app.state.database.unit_of_work() as db:
            coach = Caller(school.key_id, "coach", "coach", frozenset({school.organisation_id}))
            link = shares.create(db, coach, ShareCreate(team_id=school.team_id))
        ids[name] = ids_of(school) | {
            "school_id": school.organisation_id,
            "session_id": school.session_id,
            "rotor_id": school.turbine_id,
            "share_id": link.id,
        }
    return ids


def ask(browser, name, school, ids):
    method, path = ROUTES[name]
    row = TABLE[name]
    if name in ("take_back", "lend"):
        ids = ids | {"equipment_id": ids["kit_id"] if name == "take_back" else ids["meter_id"]}
    address = (path + row.query).format(**ids, ending="csv", container="zip", position="1")
    if method == "GET":
        return browser.get(address)
    typed = row.typed(school)
    if name.startswith("put_right_"):
        typed = as_shown(browser.get(address).text) | typed
    if name == "import_sheet":
        line = f"{ids['team_name']},1,{ids['bench_name']},2026-03-05 14:30,n-1,30.1,yes,1.2,yes\n"
        typed |= {"cells": CSV + line}
    return browser.post(address, data=typed)


def as_shown(page):
    """Return the fields of an empty form with their initial values."""
    typed = dict(re.findall(r'<input [^>]*name="([a-z_0-9]+)"[^>]* value="([^"]+)"', page))
    for name, options in re.findall(r'<select [^>]*name="([a-z_0-9]+)"(.*?)</select>', page, re.S):
        chosen = re.search(r'value="([^"]*)" selected', options)
        typed[name] = chosen[1] if chosen else ""
    return {
        name: value for name, value in typed.items() if name not in ("adult_present", "form_key")
    }


NAMES = {
    "larch": {"team_name": "Larch one", "bench_name": "Larch hall"},
    "birch": {"team_name": "Birch one", "bench_name": "Birch hall"},
}


@pytest.mark.parametrize("name", GUARDED)
class TestEveryPage:
    def test_a_coach_reaches_the_own_school(self, name, world, things, visiting):
        browser = visiting(world.larch.coach_key)
        answer = ask(browser, name, world.larch, things["larch"] | NAMES["larch"])
        assert answer.status_code == TABLE[name].coach, answer.text
        assert_tells_nothing_of(answer, things["birch"])

    def test_a_lead_reaches_everything(self, name, world, things, visiting):
        answer = ask(visiting(world.lead_key), name, world.birch, things["birch"] | NAMES["birch"])
        assert answer.status_code == TABLE[name].lead, answer.text


class TestRefusals:
    """What is refused changes nothing, so that all pages are tried in one world."""

    def test_a_reader_reads_and_never_writes(self, world, things, visiting):
        for name, row in TABLE.items():
            browser = visiting(world.larch.reader_key)  # the last one may have signed out
            answer = ask(browser, name, world.larch, things["larch"] | NAMES["larch"])
            assert answer.status_code == row.reader, (name, answer.text)
            assert_tells_nothing_of(answer, things["birch"])

    def test_what_is_anothers_answers_like_what_is_not_there(self, world, things, visiting):
        season = f"/v1/seasons/{world.season_id}"
        common = {each: things["birch"][each] for each in ("season_id", "event_id")}
        for name, row in TABLE.items():
            if row.other is None:
                continue
            browser = visiting(world.larch.coach_key)
            before = world.lead.get(season).json()["revision"]
            theirs = ask(browser, name, world.birch, things["birch"] | NAMES["birch"])
            assert theirs.status_code == row.other, (name, theirs.text)
            nobody, absent = nowhere(world.birch, things["birch"])
            missing = ask(browser, name, nobody, absent | common | NAMES["birch"])
            assert plain(theirs) == plain(missing), name
            assert world.lead.get(season).json()["revision"] == before, name


def refused(browser, world, things):
    """Return the pages that do not ask this browser to sign in."""
    asked = {name: ask(browser, name, world.larch, things["larch"] | NAMES["larch"])
             for name in GUARDED}  # fmt: skip
    return {name: answer.status_code for name, answer in asked.items()
            if answer.status_code != 303
            or not answer.headers["location"].startswith("/sign-in?next=")}  # fmt: skip


def test_what_has_ended_or_is_no_session_opens_no_page(world, things, visiting, app_client):
    ended, revoked, forged = (visiting(world.larch.coach_key), visiting(world.larch.reader_key),
                              visiting(world.larch.coach_key))  # fmt: skip
    with app_client.app.state.database.unit_of_work() as db:
        link = db.get(Share, things["larch"]["share_id"])
        ended_at = datetime.now(UTC) - timedelta(days=31)
        for row in db.scalars(select(WebSession).where(WebSession.key_id == world.larch.key_id)):
            row.created_at = row.seen_at = ended_at
    key_id = world.lead.get("/v1/keys", params={"label": "Larch reader"}).json()["items"][0]["id"]
    tag = {"If-Match": '"v1"'}
    world.lead.patch(f"/v1/keys/{key_id}", json={"revoked": True}, headers=tag)
    forged.cookies.clear()
    forged.cookies.set(COOKIE, link.digest, domain="gustbook.test")
    for browser in (ended, revoked, forged, visiting("")):
        assert refused(browser, world, things) == {}


def test_an_id_of_another_school_in_a_form_is_like_one_that_is_not_there(
    world, things, visiting, monkeypatch
):
    browser, seen, wrong = visiting(world.larch.coach_key), 0, {}
    mine, theirs = things["larch"], things["birch"]
    others = {value: theirs[name] for name, value in mine.items() if value != theirs.get(name)}
    for name, row in TABLE.items():
        typed = row.typed(world.larch) if row.typed else {}
        for field, value in typed.items():
            if value not in others:
                continue
            seen += 1
            items = []
            for other in (others[value], new_id(value.split("_")[0])):
                sent = typed | {field: other}
                monkeypatch.setitem(TABLE, name, replace(row, typed=lambda _, sent=sent: sent))
                items.append(ask(browser, name, world.larch, mine | NAMES["larch"]))
            if items[0].status_code < 400 or plain(items[0]) != plain(items[1]):
                wrong[name, field] = [answer.status_code for answer in items]
    assert wrong == {}
    assert seen > 10


def plain(answer):
    """Return a page but for ids, form keys and the minute."""
    text = re.sub(r"[a-z]+_[0-9A-Z]{26}", "ID", answer.text)
    text = re.sub(r'name="form_key" value="[^"]*"', "", text)
    return answer.status_code, re.sub(r"\d\d:\d\d", "", text)


def test_a_link_of_one_team_shows_no_other(world, things, app_client, visiting):
    with app_client.app.state.database.unit_of_work() as db:
        lead = Caller("key_none", "lead", "lead", None)
        lead = replace(lead, key_id=world.lead.get("/v1/keys").json()["items"][0]["id"])
        team = shares.create(db, lead, ShareCreate(team_id=world.larch.team_id))
        season = shares.create(db, lead, ShareCreate(season_id=world.season_id))
    browser = visiting("")
    shown = browser.get(f"/shared/{team.token}")
    assert shown.status_code == 200
    assert "Larch one" in shown.text
    assert_tells_nothing_of(shown, things["birch"])
    # No school shares its names, so the season's page names none.
    page = browser.get(f"/shared/{season.token}")
    assert page.status_code == 200
    assert "Larch" not in page.text
    assert "Birch" not in page.text


def test_ids_of_another_kind_are_nothing(world, visiting):
    browser = visiting(world.lead_key)
    assert browser.get(f"/teams/{new_id('bld')}").status_code == 404
    assert browser.get("/teams/'%22%3E%3Cscript%3E").status_code == 404


@pytest.mark.on_both
def test_an_empty_programme_says_the_first_thing_to_do(app_client, visiting):
    browser = visiting(make_lead_key(app_client))
    asked = [
        name for name, row in TABLE.items() if row.other is None and "{" not in ROUTES[name][1]
    ]
    shown = {name: browser.get(ROUTES[name][1]) for name in asked if ROUTES[name][0] == "GET"}
    refused = {name: page.status_code for name, page in shown.items() if page.status_code >= 400}
    assert refused == {"styleguide": 404}
    assert "/seasons/new" in shown["today_page"].text
    assert "/seasons/new" in shown["seasons_page"].text
    assert "/schools/new" in shown["schools_page"].text
    assert "/events/new" in shown["events_page"].text
    assert "/equipment/new?kind=fan" in shown["equipment_page"].text
    assert "/imports/template.csv" in shown["imports_page"].text

"""Signing in and out: cookies, their lifetime, and misuse."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import select

from api.models.access.keys import KeyUpdate
from api.models.access.web_sessions import WebSession
from api.services.access import keys, web_sessions
from api.web.visitors import local_path
from tests.support.databases import HERE


def sessions_of(client):
    with client.app.state.database.reading() as db:
        return list(db.scalars(select(WebSession)))


def move(client, **by):
    """Let the one session be older than it is."""
    with client.app.state.database.unit_of_work() as db:
        row = db.scalars(select(WebSession)).one()
        for name, span in by.items():
            setattr(row, name, datetime.now(UTC) - span)


class TestRefused:
    @pytest.mark.parametrize("key", ["", "gust_x", "gust_" + "0" * 26 + "_" + "a" * 49, "ключ"])
    def test_a_key_that_is_none(self, key, world, visiting):
        answer = visiting("").post("/sign-in", data={"key": key})
        assert answer.status_code == 401
        assert "set-cookie" not in answer.headers
        assert 'role="alert"' in answer.text

    def test_a_revoked_key_ends_its_sessions_at_once(self, world, visiting):
        browser = visiting(world.larch.coach_key)
        assert browser.get("/today").status_code == 200
        with browser.app.state.database.unit_of_work() as db:
            keys.change(db, keys.CONSOLE, world.larch.key_id, KeyUpdate(revoked=True), 1)
        assert browser.get("/today").headers["location"] == "/sign-in?next=/today"

    def test_a_session_ends_after_twelve_hours_without_a_page(self, world, visiting):
        browser = visiting(world.lead_key)
        move(browser, seen_at=timedelta(hours=12, minutes=1))
        assert browser.get("/today").status_code == 303

    def test_a_session_ends_after_thirty_days_however_used(self, world, visiting):
        browser = visiting(world.lead_key)
        move(browser, created_at=timedelta(days=30, minutes=1))
        assert browser.get("/today").status_code == 303

    def test_a_cookie_is_no_key_to_the_api(self, world, visiting):
        browser = visiting(world.lead_key)
        assert browser.get("/v1/teams").status_code == 401

    @pytest.mark.parametrize(
        "headers",
        [
            {"Sec-Fetch-Site": "cross-site"},
            {"Sec-Fetch-Site": "same-site"},
            {"Sec-Fetch-Site": "cross-site", "Origin": HERE},
            {"Sec-Fetch-Site": "", "Origin": "https://evil.test"},
            {"Sec-Fetch-Site": "", "Origin": "null"},
            {"Sec-Fetch-Site": "", "Referer": "https://evil.test/gustbook.test"},
            {"Sec-Fetch-Site": ""},
        ],
    )
    @pytest.mark.parametrize("path", ["/sign-in", "/sign-out", "/flags/x/answer"])
    def test_what_another_sites_page_sends(self, path, headers, world, visiting):
        browser = visiting(world.lead_key)
        if not headers["Sec-Fetch-Site"]:
            del browser.headers["Sec-Fetch-Site"]
            headers = {name: value for name, value in headers.items() if value}
        answer = browser.post(path, data={"key": world.lead_key}, headers=headers)
        assert answer.status_code == 403
        assert len(sessions_of(browser)) == 1

    def test_a_way_to_another_site_after_signing_in(self):
        for address in ("//evil.test", "https://evil.test", "/\\evil.test", "javascript:alert(1)",
                        "/x\r\nSet-Cookie: a=b", "", "/ evil"):  # fmt: skip
            assert local_path(address) == "/today"


class TestSignedIn:
    def test_the_cookie_is_bound_to_this_host_and_to_https(self, world, visiting):
        answer = visiting("").post("/sign-in", data={"key": f"  {world.lead_key}\n"})
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith("__Host-gustbook=")
        for mark in ("Secure", "HttpOnly", "Path=/", "SameSite=lax"):
            assert mark in cookie
        assert "Domain" not in cookie

    def test_nothing_kept_signs_anybody_in(self, world, visiting):
        answer = visiting("").post("/sign-in", data={"key": world.lead_key})
        secret = answer.headers["set-cookie"].split("=")[1].split(";")[0]
        browser = visiting("")
        (row,) = sessions_of(browser)
        assert row.digest == web_sessions.digest_of(secret)
        assert secret not in str(row.model_dump())
        for stolen in (row.digest, secret[:-1], secret.upper()):
            browser.cookies.set("__Host-gustbook", stolen)
            assert browser.get("/today").status_code == 303

    def test_each_signing_in_is_a_session_of_its_own(self, world, visiting):
        first, second = visiting(world.lead_key), visiting(world.lead_key)
        assert len(sessions_of(first)) == 2
        first.post("/sign-out", data={"where": "here"})
        assert first.get("/today").status_code == 303
        assert second.get("/today").status_code == 200

    def test_signing_in_again_ends_the_session_that_this_browser_had(self, world, visiting):
        browser = visiting(world.lead_key)
        before = browser.cookies.get("__Host-gustbook")
        browser.post("/sign-in", data={"key": world.larch.coach_key})
        assert len(sessions_of(browser)) == 1
        browser.cookies.clear()
        browser.cookies.set("__Host-gustbook", before)
        assert browser.get("/today").status_code == 303

    def test_signing_out_everywhere_ends_all_of_the_key_and_no_others(self, world, visiting):
        first, second = visiting(world.lead_key), visiting(world.lead_key)
        other = visiting(world.larch.coach_key)
        first.post("/sign-out", data={"where": "everywhere"})
        assert second.get("/today").status_code == 303
        assert other.get("/today").status_code == 200

    def test_signing_out_clears_the_browsers_cache(self, world, visiting):
        answer = visiting(world.lead_key).post("/sign-out", data={"where": "here"})
        assert answer.headers["clear-site-data"] == '"cache"'

    def test_one_goes_on_to_what_was_asked_for(self, world, visiting):
        browser = visiting("")
        asked = f"/teams/{world.larch.team_id}/sheet"
        way = browser.get(asked).headers["location"]
        assert 'name="next" value="' + asked in browser.get(way).text
        answer = browser.post("/sign-in", data={"key": world.lead_key, "next": asked})
        assert answer.headers["location"] == asked

    def test_origin_stands_in_where_a_browser_sends_no_fetch_metadata(self, world, visiting):
        browser = visiting(world.lead_key)
        del browser.headers["Sec-Fetch-Site"]
        for headers in ({"Origin": HERE}, {"Referer": f"{HERE}/account"}):
            answer = browser.post("/seasons/new", data={"name": ""}, headers=headers)
            assert answer.status_code == 422

    def test_use_is_written_down_every_ten_minutes_and_not_on_each_page(self, world, visiting):
        browser = visiting(world.lead_key)
        move(browser, seen_at=timedelta(minutes=5))
        before = sessions_of(browser)[0].seen_at
        browser.get("/today")
        assert sessions_of(browser)[0].seen_at == before
        move(browser, seen_at=timedelta(minutes=11))
        browser.get("/today")
        assert sessions_of(browser)[0].seen_at > before

    def test_what_ended_is_forgotten(self, world, visiting):
        browser = visiting(world.lead_key)
        move(browser, seen_at=timedelta(hours=13))
        visiting(world.lead_key)
        assert len(sessions_of(browser)) == 1


def test_pages_of_accounts_are_kept_by_no_cache(world, visiting):
    browser = visiting(world.lead_key)
    for path in ("/today", "/account", "/keys", f"/teams/{world.larch.team_id}", "/sign-in"):
        answer = browser.get(path)
        assert answer.headers["cache-control"] == "no-store"
        assert "script-src 'self'" in answer.headers["content-security-policy"]
        assert answer.headers["referrer-policy"] == "no-referrer"

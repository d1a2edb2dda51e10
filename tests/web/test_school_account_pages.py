"""Pages of a programme in which people sign in with a school account, and of one without that."""

import re
from datetime import UTC, datetime

import pytest

from api.services.access.school_account import attempts
from api.settings import Settings
from tests.support.databases import SCHOOL_ACCOUNT

EMAIL = "coach@school.example"


class TestWithoutAnAccount:
    def test_there_is_no_button_and_no_such_page(self, world, visiting):
        browser = visiting("")
        assert "/sign-in/school" not in browser.get("/sign-in").text
        for path in ("/sign-in/school", "/sign-in/school/back"):
            for ask in (browser.get, browser.post):
                assert ask(path).status_code == ask("/no-such-page").status_code == 404

    def test_no_address_is_asked_for(self, world, visiting):
        assert "sign_in_email" not in visiting(world.lead_key).get("/keys").text

    def test_an_address_from_before_can_be_removed(self, world, visiting):
        key = {"label": "Kim", "role": "lead", "sign_in_email": EMAIL}
        world.lead.post("/v1/keys", json=key)
        browser = visiting(world.lead_key)
        page = browser.get("/keys").text
        assert EMAIL in page
        (path,) = re.findall(r'href="(/keys/[^"]+/email)"', page)
        assert EMAIL in browser.get(path).text
        assert browser.post(path, data={"sign_in_email": ""}).headers["location"] == "/keys"
        assert EMAIL not in browser.get("/keys").text


class TestWithAnAccount:
    @pytest.fixture
    def settings(self, database_url):
        return Settings(database_url=database_url, **SCHOOL_ACCOUNT)

    def test_the_button_leads_on_to_the_page_that_was_asked_for(self, world, visiting):
        page = visiting("").get("/sign-in?next=/teams/x").text
        assert 'href="/sign-in/school?next=%2Fteams%2Fx"' in page
        assert "Sign in with your school account" in page

    def test_only_a_wrong_key_is_marked_at_its_field(self, world, visiting):
        browser, mark = visiting(""), 'aria-invalid="true"'
        assert mark in browser.post("/sign-in", data={"key": "no key"}).text
        assert mark not in browser.get("/sign-in/school/back").text

    def test_the_button_is_in_german_for_who_reads_german(self, world, visiting):
        page = visiting("").get("/sign-in", headers={"Accept-Language": "de"}).text
        assert "Anmelden mit Ihrem Schulkonto" in page

    def test_the_attempt_is_bound_to_this_host_and_to_https(self, world, visiting):
        browser, attempt = visiting(""), attempts.begin("/today", datetime.now(UTC))
        browser.cookies.set("__Host-gustbook-school", attempt.cookie, domain="gustbook.test")
        asked = {"state": attempt.state, "error": "access_denied"}
        cookie = browser.get("/sign-in/school/back", params=asked).headers["set-cookie"]
        assert cookie.startswith("__Host-gustbook-school=")
        for mark in ("Secure", "HttpOnly", "Path=/", "SameSite=lax", "Max-Age=0"):
            assert mark in cookie

    def test_a_key_is_made_with_an_address(self, world, visiting):
        browser = visiting(world.lead_key)
        typed = {"label": "Kim", "role": "lead", "sign_in_email": "Coach@School.example"}
        assert EMAIL in browser.post("/keys", data=typed).text
        again = browser.post("/keys", data=typed)
        assert again.status_code == 422
        assert "The key Kim already has this address" in again.text

    @pytest.mark.parametrize("typed", ["coach", "a@b@c.example"])
    def test_a_wrong_address_is_shown_at_its_field(self, typed, world, visiting):
        browser = visiting(world.lead_key)
        path = f"/keys/{world.larch.key_id}/email"
        answer = browser.post(path, data={"sign_in_email": typed})
        assert answer.status_code == 422
        assert 'id="e-sign_in_email"' in answer.text
        assert f'value="{typed}"' in answer.text

    def test_another_address_signs_the_browsers_of_the_key_out(self, world, visiting):
        lead, coach = visiting(world.lead_key), visiting(world.larch.coach_key)
        path = f"/keys/{world.larch.key_id}/email"
        lead.post(path, data={"sign_in_email": EMAIL})
        assert coach.get("/today").status_code == 200
        lead.post(path, data={"sign_in_email": "kim@school.example"})
        assert coach.get("/today").status_code == 303

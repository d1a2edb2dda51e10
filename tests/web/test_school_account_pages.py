"""Pages of a programme in which people sign in with a school account, and of one without that."""

import pytest

from api.settings import Settings
from tests.support.databases import SCHOOL_ACCOUNT


class TestWithoutAnAccount:
    def test_there_is_no_button_and_no_such_page(self, world, visiting):
        browser = visiting("")
        assert "/sign-in/school" not in browser.get("/sign-in").text
        for path in ("/sign-in/school", "/sign-in/school/back"):
            for ask in (browser.get, browser.post):
                assert ask(path).status_code == ask("/no-such-page").status_code == 404


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
        cookie = visiting("").get("/sign-in/school/back").headers["set-cookie"]
        assert cookie.startswith("__Host-gustbook-school=")
        for mark in ("Secure", "HttpOnly", "Path=/", "SameSite=lax", "Max-Age=0"):
            assert mark in cookie

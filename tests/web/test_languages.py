"""Pages in the language of the browser, or in the chosen one."""

from tests.support.databases import HERE
from tests.support.makers import Signed, World

GERMAN = {"Accept-Language": "de"}


class TestPages:
    def test_as_the_browser_prefers(self, world: World, app_client):
        page = app_client.get("/sign-in", headers={"Accept": "text/html", **GERMAN})
        assert '<html lang="de">' in page.text
        assert "Zugangsschlüssel" in page.text

    def test_as_somebody_chose(self, world: World, visiting: Signed):
        browser = visiting(world.larch.coach_key)
        chosen = browser.post("/language", data={"language": "de", "back": "/account"})
        assert (chosen.status_code, chosen.headers["location"]) == (303, "/account")
        assert '<html lang="de">' in browser.get("/account").text
        assert "cookie" in browser.get("/account").headers["vary"].lower()
        browser.post("/language", data={"language": "", "back": "/account"})
        assert '<html lang="en">' in browser.get("/account").text

    def test_another_site_chooses_nothing(self, app_client):
        elsewhere = {"Sec-Fetch-Site": "cross-site"}
        answer = app_client.post("/language", data={"language": "de"}, headers=elsewhere)
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers

    def test_an_unknown_language_is_none(self, app_client):
        own = {"Origin": str(app_client.base_url)}
        answer = app_client.post("/language", data={"language": "xx<b>"}, headers=own,
                                 follow_redirects=False)  # fmt: skip
        assert answer.status_code == 303
        assert "xx" not in answer.headers["set-cookie"]

    def test_no_way_to_another_site(self, app_client):
        own = {"Origin": str(app_client.base_url)}
        asked = {"language": "de", "back": "//evil.test/"}
        answer = app_client.post("/language", data=asked, headers=own, follow_redirects=False)
        assert answer.headers["location"] == "/"

    def test_numbers_and_days_in_its_form(self, world: World, visiting: Signed):
        browser = visiting(world.larch.coach_key)
        browser.cookies.set("language", "de", domain=HERE.removeprefix("https://"))
        text = browser.get(f"/teams/{world.larch.team_id}").text
        assert " mW" in text
        assert "März 2026" in text
        assert "March" not in text
